"""Three pluggers, each larger than the next and none touching dentine on its way.

Common practice (no source): coronal, the widest that is loose over several mm of the coronal third; middle, the widest
that gets passively to the middle of the canal; apical, the widest that gets within 5 mm of the end of the preparation.
Each stops 1 mm short of where it would bind; the middle one leaves the last 5 mm to the apical one. Where that
millimetre would keep the apical plugger out of the last 5 mm, less is kept, but never under `LEAST_MARGIN`; the
choice says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from canalwright.fit.passage import Passage
from canalwright.fit.reach import Reach, reach_of
from canalwright.instruments import Plugger

WITHIN, MARGIN, LEAST_MARGIN = 5.0, 1.0, 0.25
NEAREST = 4.0
"""No stop is set nearer the end than this [mm]: the press moves the filling below (common practice 4 to 5 mm)."""
LOOSE = 3.0
"""How far below the orifice the coronal plugger must get [mm]: 'several mm' (common practice)."""


@dataclass(frozen=True)
class PluggerFit:
    """A plugger for one part of the canal ('coronal', 'middle', 'apical').

    `stop` is z of its nominal stop, `margin` [mm] how far that lies short of its nominal reach, `chance` the share of
    the draws in which it gets to the stop without touching; `meets` whether the part's aim is met; `reason` in words.
    """

    part: str
    plugger: Plugger
    reach: Reach
    stop: float
    margin: float
    chance: float
    meets: bool
    reason: str


@dataclass(frozen=True)
class PluggerChoice:
    """The choice for the three parts (None where the tray has nothing that fits), and every plugger's reach."""

    coronal: PluggerFit | None
    middle: PluggerFit | None
    apical: PluggerFit | None
    reaches: tuple[tuple[Plugger, Reach], ...]

    @property
    def chosen(self) -> tuple[PluggerFit, ...]:
        """Those there are, coronal first."""
        return tuple(fit for fit in (self.coronal, self.middle, self.apical) if fit is not None)

    @property
    def within_reach(self) -> bool:
        """True where a plugger gets within 5 mm of the end; else ask `remedies`."""
        return self.apical is not None and self.apical.meets


def choose_pluggers(
    pluggers: Sequence[Plugger], passage: Passage, *, scores: ArrayLike | None = None, clearance: float = 0.0
) -> PluggerChoice:
    """Three pluggers for the passage; raises ValueError for an empty list.

    Tip diameters fall strictly from part to part. As many aims as possible are met; among such choices the widest
    apical, then the widest coronal, then the widest middle one is taken. `scores` as for `reach_of`.
    """
    if not pluggers:
        raise ValueError("no plugger to choose from: the tray lists none")
    found = tuple((p, reach_of(p, passage, scores, clearance)) for p in pluggers)
    depth_aim = {
        "coronal": max(passage.orifice - LOOSE, passage.orifice - (passage.orifice - passage.end) / 3),
        "middle": passage.end + (passage.orifice - passage.end) / 2,
        "apical": passage.end + WITHIN,
    }
    fits = {part: [_fit(part, p, r, aim, passage) for p, r in found] for part, aim in depth_aim.items()}
    best: tuple[PluggerFit | None, PluggerFit | None, PluggerFit | None] = (None, None, None)
    best_score: tuple[float, ...] = (-1.0,)
    for apical in [*_sound(fits["apical"]), _deepest(fits["apical"])]:
        for coronal in [*_sound(fits["coronal"]), None]:
            if coronal and coronal.plugger.profile.tip <= apical.plugger.profile.tip:
                continue
            upper = coronal.plugger.profile.tip if coronal else np.inf
            between = [f for f in _sound(fits["middle"]) if apical.plugger.profile.tip < f.plugger.profile.tip < upper]
            middle = max(between, key=lambda f: f.plugger.profile.tip, default=None)
            tips = [f.plugger.profile.tip if f else 0.0 for f in (apical, coronal, middle)]
            score = (float(apical.meets) + (coronal is not None) + (middle is not None), float(apical.meets), *tips)
            if score > best_score:
                best, best_score = (coronal, middle, apical), score
    return PluggerChoice(best[0], best[1], best[2], found)


def _sound(fits: list[PluggerFit]) -> list[PluggerFit]:
    return [f for f in fits if f.meets]


def _deepest(fits: list[PluggerFit]) -> PluggerFit:
    return min(fits, key=lambda f: (float(f.reach.z[0]), -f.plugger.profile.tip))


def _fit(part: str, plugger: Plugger, reach: Reach, aim: float, passage: Passage) -> PluggerFit:
    deepest = float(reach.z[0])
    nearest = passage.end + (WITHIN if part == "middle" else NEAREST)
    stop = min(max(deepest + MARGIN, nearest), passage.orifice)
    if part == "apical" and stop > aim >= deepest + LEAST_MARGIN:
        stop = aim
    margin, short = stop - deepest, stop - passage.end
    meets = stop <= aim + 1e-9
    reason = f"stops {short:.1f} mm from the end, {margin:.1f} mm short of its reach (stopped by: {reach.stopped_by})"
    if part == "apical" and meets and margin < MARGIN - 1e-9:
        reason += f"; with the usual {MARGIN:.0f} mm it would stay out of the last {WITHIN:.0f} mm"
    if not meets:
        reason += f"; the {part} part asks for {aim - passage.end:.1f} mm"
    return PluggerFit(part, plugger, reach, stop, margin, reach.chance(stop), meets, reason)
