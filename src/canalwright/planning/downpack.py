"""The rounds of the downpack as stations: where the carrier stops, what the bite leaves, where the press ends.

Pure geometry from the sear to the deepest carrier stop, laid so that in each round a plugger gets through the surface that the
bite leaves; the heat model says afterwards what it does.
"""

import math
from dataclasses import dataclass

from canalwright.instruments import Plugger
from canalwright.planning import practice
from canalwright.protocol.acts import TOUCH


@dataclass(frozen=True, slots=True)
class Step:
    """One round: stations (z) of the filling's top before it, of the carrier's stop, of the level that the bite
    leaves and of the plugger's tip when the press ends; and the plugger used. A plugger whose stop lies above the
    bitten level does not touch it."""

    top: float
    carrier_stop: float
    bitten: float
    pressed: float
    plugger: Plugger

    @property
    def bite(self) -> float:
        """Length of gutta-percha removed."""
        return self.top - self.bitten

    @property
    def left(self) -> float:
        """Top of the filling after the round."""
        return min(self.pressed, self.bitten)


def least_rounds(top: float, deepest: float) -> int:
    """Fewest rounds that take the carrier from `top` to `deepest` with no plunge above the longest."""
    fall = practice.SETTLE - practice.LEFT_BY_BITE
    return max(1, math.ceil((top - deepest - 1e-9) / (practice.PLUNGE_MOST + fall)))


def lay_rounds(
    top: float, deepest: float, pluggers: tuple[tuple[Plugger, float], ...], rounds: int | None = None
) -> tuple[Step, ...]:
    """Split the way from `top` to `deepest` (stations) into rounds of equal plunge.

    `pluggers` are pairs of plugger and the deepest station to which it may be taken, widest first. In each
    round the widest plugger that gets to the bitten surface presses. `rounds` None: as many as plunges of the usual
    length need. Raises ValueError when `deepest` is not below `top` or `rounds` is less than 1.
    """
    if deepest >= top:
        raise ValueError(f"the downpack has to go down: from z {top:.1f} to {deepest:.1f} mm")
    if rounds is not None and rounds < 1:
        raise ValueError(f"a downpack has at least one round, not {rounds}")
    count = rounds if rounds is not None else max(1, round((top - deepest) / practice.PLUNGE_USUAL))
    count = count if rounds is not None else max(count, least_rounds(top, deepest))
    plunge = (top - deepest) / count
    steps: list[Step] = []
    level = top
    for number in range(1, count + 1):
        stop = top - plunge * number
        bitten = min(stop + practice.LEFT_BY_BITE, level)
        plugger, limit = widest_reaching(pluggers, bitten)
        steps.append(Step(level, stop, bitten, max(bitten - practice.SETTLE, limit), plugger))
        level = steps[-1].left
    return tuple(steps)


def pressed_there(deepest: float, most: float, pluggers: tuple[tuple[Plugger, float], ...]) -> float:
    """The deepest carrier stop (z) of a downpack that would get to `deepest`: higher where only there a plugger packs the last bite.

    At most `most`, a station: where no plugger gets through the surface even from there, what is gained in heat is kept and
    the last press stays one that the findings tell of.
    """
    packed = min(limit for _, limit in pluggers) + practice.SETTLE - practice.LEFT_BY_BITE
    return max(deepest, min(packed, most)) if packed - most <= practice.SETTLE - TOUCH else deepest


def widest_reaching(pluggers: tuple[tuple[Plugger, float], ...], z: float) -> tuple[Plugger, float]:
    """The widest of `pluggers` (with the deepest station of each, widest first) that can press a surface at `z`, else the one deepest."""
    for plugger, limit in pluggers:
        if limit <= z - practice.SETTLE + 1e-9:
            return plugger, limit
    return min(pluggers, key=lambda pair: pair[1])
