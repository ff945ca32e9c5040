"""Which cone of the tray, and how much to cut off it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.fit.cone import Trim, chance, seat, trim_for, tug_back
from canalwright.fit.passage import Passage
from canalwright.instruments import Cone

Array = NDArray[np.float64]
CUT_COST, GRIP_WORTH = 0.1, 0.01
"""What a mm cut off costs and a mm of tug-back is worth, as chance (ours: prefer the cone that was made for the canal)."""
CLEAR = 0.05
"""What a cone must be better by, as chance, before it is cut more than another (ours; the choice of 1024 draws
moved a chance by 0.01 in the 35/0.06 canal it was seen on)."""
SEARCH_DRAWS = 257
"""Draws that the search for the trim looks at; its result is judged on all."""
GRIP = 2.0
"""Length [mm] of cone that must stand above the reference point to be held (from memory)."""


@dataclass(frozen=True)
class ConeFit:
    """One cone in this canal: its trim, seats and tug-back by draw, the chance to seat at the target.

    `offset` (d,) are the errors of diameter that were drawn. `reason` is empty for a cone that can be used.
    """

    cone: Cone
    trim: Trim
    offset: Array
    seats: Array
    tug_back: Array
    chance: float
    reason: str = ""

    @property
    def usable(self) -> bool:
        """True where nothing speaks against the cone."""
        return not self.reason


def choose_cone(
    cones: Iterable[Cone], passage: Passage, *, target: float | None = None, scores: ArrayLike | None = None,
    half_widths: Mapping[str, float] | None = None, within: float = 0.5, most_trim: float = 8.0,
) -> tuple[ConeFit, ...]:  # fmt: skip
    """The cones, best first: by chance to seat within `within` mm of `target`, tug-back and trim.

    The rank is chance + 0.01 per mm of median tug-back - 0.1 per mm cut off: a cone that needs much cutting must
    be clearly better. Of those whose rank is within 0.05 of the first one's, the one that is cut least comes first: mostly the size
    and taper of the file. `target` is the end of the preparation when None. `scores` (d,) in [-1, 1] scale the half
    width of each cone's tolerance (ISO 6877), or the smaller one given by name in `half_widths` for a cone that was
    gauged. Cones that are too short, or whose median seat stays farther than `within` from the target whatever is
    cut off, come last with a `reason`.
    """
    place = passage.end if target is None else target
    drawn = np.zeros(passage.draws_count) if scores is None else np.asarray(scores, dtype=float)
    fits = [_fit(cone, passage, place, drawn, half_widths or {}, within, most_trim) for cone in cones]
    ranked = sorted(fits, key=_rank)
    alike = [fit for fit in ranked if fit.usable and _worth(fit) > _worth(ranked[0]) - CLEAR]
    first = min(alike, key=lambda fit: fit.trim.length, default=ranked[0])
    return (first, *(fit for fit in ranked if fit is not first))


def _fit(
    cone: Cone, passage: Passage, target: float, scores: Array, half_widths: Mapping[str, float], within: float,
    most: float,
) -> ConeFit:  # fmt: skip
    offset = half_widths.get(cone.name, cone.tolerance) * scores
    z, minor = passage.z, passage.minor
    few = slice(SEARCH_DRAWS)
    trim = trim_for(cone.profile, z, minor[few], target, offset=offset[few], most=most)
    length = round(trim.length, 1)
    seats = seat(cone.profile, z, minor, offset=offset, trim=length)
    grip = tug_back(cone.profile, z, minor, seats, offset=offset, trim=length)
    trim = Trim(length, float(cone.profile(length)), float(np.median(seats)), trim.reached)
    needed = float(passage.length[0]) - target + GRIP
    reason = ""
    if trim.median > target + within:
        reason = f"stops {trim.median - target:.1f} mm short: too wide for this canal"
    elif trim.median < target - within:
        reason = f"passes the end even with {trim.length:.1f} mm cut off: too thin for this canal"
    elif cone.length - trim.length < needed:
        reason = f"too short: {cone.length - trim.length:.1f} mm left after trimming, {needed:.1f} mm needed to hold it"
    return ConeFit(cone, trim, offset, seats, grip, chance(seats, target, within), reason)


def _rank(fit: ConeFit) -> tuple[bool, float, str]:
    return (not fit.usable, -_worth(fit), fit.cone.name)


def _worth(fit: ConeFit) -> float:
    return fit.chance + GRIP_WORTH * float(np.median(fit.tug_back)) - CUT_COST * fit.trim.length
