"""What the clinician chose, as the query of the address: a reload, a second window and a link keep it.

Keys and units: activation s, temperature degC, force N, rounds, trim mm, wall_change mm, hold s, last_hold s, pause s; cone, carrier,
sealer and plugger (three times: coronal, middle, apical) by name. What is not there is left to the planner.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from fastapi import Request

from canalwright.instruments import Tray
from canalwright.planning import Choices


@dataclass(frozen=True, slots=True)
class Range:
    """A number that may be chosen: its least and greatest value on the page, step, unit and decimals."""

    low: float
    high: float
    step: float
    unit: str
    digits: int

    def clamped(self, value: float) -> float:
        """The value within the range, on a step."""
        steps = round((min(max(value, self.low), self.high) - self.low) / self.step)
        return round(self.low + steps * self.step, 6)


RANGES: dict[str, Range] = {
    "activation": Range(0.5, 8.0, 0.1, "s", 1),
    "temperature": Range(100.0, 300.0, 10.0, "°C", 0),
    "force": Range(5.0, 40.0, 1.0, "N", 0),
    "rounds": Range(1, 6, 1, "", 0),
    "trim": Range(0.0, 4.0, 0.1, "mm", 1),
    "wall_change": Range(-1.0, 1.0, 0.05, "mm", 2),
    "hold": Range(2.0, 40.0, 1.0, "s", 0),
    "last_hold": Range(2.0, 60.0, 1.0, "s", 0),
    "pause": Range(0.0, 40.0, 1.0, "s", 0),
}
NAMES = ("cone", "carrier", "sealer")


def query_of(request: Request) -> dict[str, list[str]]:
    """All that an address asks, every value of each name."""
    return {name: request.query_params.getlist(name) for name in request.query_params}


def changed(choices: Choices, key: str, value: float | str | None) -> Choices:
    """The choices with one of them changed; None gives it back to the planner. Raises KeyError for an unknown one."""
    if key in RANGES:
        standard = getattr(Choices(), key)
        return _with(choices, key, standard if value is None else _number(key, float(value)))
    if key in NAMES:
        return _with(choices, key, value)
    raise KeyError(key)


def from_query(query: Mapping[str, Sequence[str]], tray: Tray) -> Choices:
    """The choices of an address; what is not there, out of range or not on the tray is left to the planner."""
    choices = Choices()
    for key in RANGES:
        try:
            choices = changed(choices, key, float(query[key][0]))
        except (KeyError, IndexError, ValueError, OverflowError):
            continue
    for key, tools in (("cone", tray.cones), ("carrier", tray.carriers), ("sealer", tray.sealers)):
        name = next(iter(query.get(key, ())), None)
        if any(tool.name == name for tool in tools):
            choices = _with(choices, key, name)
    pluggers = tuple(query.get("plugger", ()))
    if len(pluggers) == 3 and {p.name for p in tray.pluggers} >= set(pluggers):
        choices = replace(choices, pluggers=(pluggers[0], pluggers[1], pluggers[2]))
    return choices


def to_query(choices: Choices) -> str:
    """The query that `from_query` reads, with only what differs from leaving all to the planner."""
    standard = Choices()
    pairs: list[tuple[str, str]] = []
    for key in (*RANGES, *NAMES):
        value = getattr(choices, key)
        if value is not None and value != getattr(standard, key):
            pairs.append((key, f"{value:g}" if isinstance(value, int | float) else str(value)))
    pairs += [("plugger", name) for name in choices.pluggers or ()]
    return urlencode(pairs)


def _number(key: str, value: float) -> float | int:
    if value != value:
        raise ValueError("not a number")
    held = RANGES[key].clamped(value)
    return round(held) if key == "rounds" else held


def _with(choices: Choices, key: str, value: Any) -> Choices:
    changes: dict[str, Any] = {key: value}
    return replace(choices, **changes)
