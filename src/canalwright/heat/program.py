"""A protocol as the table of numbers that the kernels run."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from canalwright.heat.layout import BITE, EMPTY, FILLED, HEAT, INJECT, PAUSE, PLACE, PRESS, SEAR, Grid, Tools
from canalwright.instruments import Carrier, Plugger
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear

Array = NDArray[np.float64]
PRESS_SECONDS = 1.0
"""The plugger goes down to its stop within this time (or half of the press, if that is shorter)."""


def program(protocol: Protocol, numbers: Mapping[int, int]) -> Array:
    """One row per act: kind, begin, end, tool, level, temperature, motion or burst, activation, top; shape (acts,
    9)."""
    rows = np.zeros((len(protocol.acts), 9))
    last = 0.0
    for row, (begin, end, act) in zip(rows, protocol.timed(), strict=True):
        row[1:3] = begin, end
        row[3] = numbers.get(id(instrument(act)), -1)
        match act:
            case Place():
                row[0], row[4] = PLACE, act.tip
            case Sear():
                row[0], row[4], row[5] = SEAR, act.level, act.temperature
                last = act.temperature
            case Heat():
                row[0], row[4], row[5], row[7] = HEAT, act.stop, act.temperature, act.seconds
                row[6] = min(act.plunge, act.seconds)
                last = act.temperature
            case Bite():
                row[0], row[4], row[5], row[6] = BITE, act.level, last, min(act.burst, act.seconds)
            case Press():
                row[0], row[4], row[6] = PRESS, act.stop, min(PRESS_SECONDS, act.seconds / 2)
            case Inject():
                row[0], row[4], row[5], row[8] = INJECT, act.bottom, act.temperature, act.top
            case Pause():
                row[0] = PAUSE
    return rows


def check(protocol: Protocol) -> None:
    """Raises ValueError, naming the act, for a time, level or temperature that no act can have."""
    for i, act in enumerate(protocol.acts, 1):
        for name, value in vars(act).items():
            if isinstance(value, (int, float)) and not np.isfinite(value):
                raise ValueError(f"act {i} ({type(act).__name__}): {name} is not a finite number")
        if act.seconds < 0 or (isinstance(act, Heat) and (act.dwell < 0 or act.plunge < 0)):
            raise ValueError(f"act {i} ({type(act).__name__}): times must be 0 s or more")
        if isinstance(act, Inject) and act.top < act.bottom:
            raise ValueError(f"act {i} (Inject): its top {act.top} mm lies below its bottom {act.bottom} mm")
        temperature = getattr(act, "temperature", 37.0)
        if not 0 <= temperature <= 600:
            raise ValueError(f"act {i} ({type(act).__name__}): temperature {temperature} deg C is outside 0 to 600")


def instrument(act: Act) -> Carrier | Plugger | None:
    """The instrument of an act that has a body in the heat model."""
    match act:
        case Sear() | Heat():
            return act.carrier
        case Press():
            return act.plugger
        case _:
            return None


def tools(protocol: Protocol, g: Grid, power_share: float) -> tuple[Tools, dict[int, int]]:
    """The instruments of a protocol as tables, and the row of each (by the identity of the instrument in the act)."""
    found: list[Carrier | Plugger] = []
    numbers: dict[int, int] = {}
    for act in protocol.acts:
        item = instrument(act)
        if item is None:
            continue
        if item not in found:
            found.append(item)
        numbers[id(item)] = found.index(item)
    count = max(len(found), 1)
    radius, power, node = np.full((count, g.nodes * g.span), 0.1), np.zeros(count), g.step * g.span
    heated, sensor = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    middle = (np.arange(g.nodes * g.span) + 0.5) * g.step
    for row, item in enumerate(found):
        radius[row] = np.maximum(item.profile(middle) / 2, 0.02)
        if isinstance(item, Carrier):
            power[row] = item.power * power_share
            heated[row] = np.clip(round(item.heated_length / node), 1, g.nodes)
            sensor[row] = np.clip(int(item.sensor_at / node), 0, g.nodes - 1)
    place = np.column_stack([heated, sensor])
    return Tools(radius, np.zeros((count, g.nodes)), np.column_stack([power, np.full(count, -1.0)]), place), numbers


def content_at_start(protocol: Protocol) -> int:
    """Empty when the protocol places a cone or begins with a portion; otherwise filled."""
    first = next((a for a in protocol.acts if not isinstance(a, Pause)), None)
    return EMPTY if isinstance(first, (Place, Inject)) else FILLED
