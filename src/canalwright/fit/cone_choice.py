"""Which cone of the tray, and how much to cut off it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.fit.cone import Trim, chance, seat, trim_for, tug_back
from canalwright.fit.passage import Passage
from canalwright.instruments import Cone

Array = NDArray[np.float64]
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
    """The cones, best first: by chance to seat within `within` mm of `target`, then tug-back, then least trim.

    Chances closer than 0.05 and tug-backs closer than 0.5 mm count as the same. `target` is the end of the
    preparation when None. `scores` (d,) in [-1, 1] scale the half width of each cone's tolerance (ISO 6877), or
    the smaller one given by name in `half_widths` for a cone that was gauged. Cones that are too short, or whose
    median seat stays farther than `within` from the target whatever is cut off, come last with a `reason`.
    """
    place = passage.end if target is None else target
    drawn = np.zeros(passage.draws_count) if scores is None else np.asarray(scores, dtype=float)
    fits = [_fit(cone, passage, place, drawn, half_widths or {}, within, most_trim) for cone in cones]
    return tuple(sorted(fits, key=_rank))


def _fit(
    cone: Cone, passage: Passage, target: float, scores: Array, half_widths: Mapping[str, float], within: float,
    most: float,
) -> ConeFit:  # fmt: skip
    offset = half_widths.get(cone.name, cone.tolerance) * scores
    z, minor = passage.z, passage.minor
    trim = trim_for(cone.profile, z, minor, target, offset=offset, most=most)
    if trim.length:
        length = round(trim.length, 1)
        median = float(np.median(seat(cone.profile, z, minor, offset=offset, trim=length)))
        trim = Trim(length, float(cone.profile(length)), median, trim.reached)
    seats = seat(cone.profile, z, minor, offset=offset, trim=trim.length)
    grip = tug_back(cone.profile, z, minor, seats, offset=offset, trim=trim.length)
    needed = float(passage.length[0]) - target + GRIP
    reason = ""
    if trim.median > target + within:
        reason = f"stops {trim.median - target:.1f} mm short: too wide for this canal"
    elif trim.median < target - within:
        reason = f"passes the end even with {trim.length:.1f} mm cut off: too thin for this canal"
    elif cone.length - trim.length < needed:
        reason = f"too short: {cone.length - trim.length:.1f} mm left after trimming, {needed:.1f} mm needed to hold it"
    return ConeFit(cone, trim, offset, seats, grip, chance(seats, target, within), reason)


def _rank(fit: ConeFit) -> tuple[bool, int, int, float, str]:
    grip = float(np.median(fit.tug_back))
    return (not fit.usable, -round(fit.chance / 0.05), -round(grip / 0.5), fit.trim.length, fit.cone.name)
