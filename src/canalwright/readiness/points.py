"""Paper points, entered one by one: where the canal ends, whether its end is round, when to stop, where the cone ends.

A point goes in beyond the end, comes out wet at its tip, and is dry up to where the canal was: its dry length, measured from the reference
point. Errors: 0.323 mm shared by all points of one canal and 0.069 mm of each one's own (Marcos-Arenal et al. 2009: 87 % within
0.5 mm of the foramen, repeats within 0.19 mm in 95 %), joined by the rounding of the ruler. So more points do not make the end
much surer; they show whether it is steady. Steady: the last readings, three or more, differ no more than their own error
explains (chi-square, 5 %). A border that lies slanted on the point shows a foramen whose rim is not square to the canal: oval, or torn.

Left out: canals curved more than 10 degrees (the source had none; the point cuts the corner), wicking with time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from canalwright.quantities import Origin, Quantity, Source
from canalwright.readiness.length import LIKELY, Z90, Sounding
from canalwright.readiness.methods import method

ENOUGH = 3
RESOLUTION = 0.25
"""To what the ruler is read, mm."""
SLANT = 0.5
"""Difference between the two sides of the wet border [mm] from which a rim counts as slanted (common practice)."""
SHORT_OF_END = 0.25
"""The cone ends 0 to 0.5 mm short of the dry length (common practice): the middle is aimed at."""


SIDES = ("mesial", "distal", "buccal", "lingual", "palatal")


class Pattern(StrEnum):
    """What the readings look like together."""

    NONE = "no reading yet"
    DRYING = "the canal is still drying"
    UNSTEADY = "unsteady"
    ROUND = "steady and square"
    SLANTED = "steady, the border slanted: an oval or torn foramen is to be suspected"
    TURNING = "steady, the border slanted to another side each time: the point turns, or the foramen is torn"
    BLEEDING = "blood at the tip again and again: tissue in the canal, or a torn foramen"


@dataclass(frozen=True, slots=True)
class PaperPointReading:
    """One point: its dry length [mm] from the reference point, on the side where it is shortest.

    `far_side`: the dry length on the opposite side, where the border is slanted. `side`: the side of the tooth on which it is
    shortest, in words of the trade ('' where nobody looked). `blood`: red at the tip. `wet_through`: wet
    above the border too, so the canal is not dry and the length says nothing.
    """

    dry: float
    far_side: float | None = None
    blood: bool = False
    wet_through: bool = False
    side: str = ""

    def __post_init__(self) -> None:
        for value in (self.dry, self.far_side):
            if value is not None and not 5 <= value <= 42:
                raise ValueError(f"dry length {value} mm, allowed 5 to 42 mm from the reference point")
        if self.far_side is not None and self.far_side < self.dry:
            raise ValueError(f"far side {self.far_side} mm is shorter than {self.dry} mm: give the shorter one first")
        if self.side and self.side not in SIDES:
            raise ValueError(f"no side named {self.side!r}; there are {', '.join(SIDES)}")

    @property
    def slant(self) -> float:
        """Difference between the two sides, mm."""
        return 0.0 if self.far_side is None else self.far_side - self.dry


@dataclass(frozen=True)
class DryEnd:
    """What the points say so far.

    `end`: length to the end of the canal (the near rim of its foramen) [mm]; `far_rim` where the border is slanted, `rim` the
    side of the tooth on which all slanted points are shortest ('' where they differ or nobody looked); `cone_end`: where the cone
    should end. None before there is a reading that counts. `used`: indices of the readings that count. `stop`: enough.
    `action` in words.
    """

    end: Quantity | None
    far_rim: Quantity | None
    cone_end: Quantity | None
    used: tuple[int, ...]
    pattern: Pattern
    stop: bool
    action: str
    rim: str = ""

    def trim(self, cone_at: float) -> float:
        """How much [mm] to cut off a cone whose tip was fitted to a depth of `cone_at` mm; 0 where it is short of its place.

        Raises ValueError before the end is known.
        """
        if self.cone_end is None:
            raise ValueError("no paper point has shown where the canal ends: there is nothing to trim to yet")
        return max(cone_at - self.cone_end.value, 0.0)


def read_points(readings: Sequence[PaperPointReading], resolution: float = RESOLUTION) -> DryEnd:
    """What the readings in the order in which they were made say together. Raises ValueError for a resolution over 1 mm."""
    if not 0 <= resolution <= 1:
        raise ValueError(f"the ruler is read to {resolution} mm, allowed 0 to 1 mm")
    good = [i for i, r in enumerate(readings) if not r.wet_through]
    if not readings or not good:
        pattern = Pattern.DRYING if readings else Pattern.NONE
        action = "dry on with fresh points" if readings else "take the first point: past the end and straight out again"
        return DryEnd(None, None, None, (), pattern, False, action)
    own = own_error(resolution)
    used = _steady(np.array([readings[i].dry for i in good]), own)
    places = tuple(good[len(good) - used :])
    last = [readings[i] for i in places]
    end = _quantity([r.dry for r in last], own)
    slanted = [r for r in last if r.slant >= SLANT]
    far = _quantity([r.dry + r.slant for r in slanted], own) if slanted else None
    bleeding = sum(r.blood for r in last) >= 2
    sides = {r.side for r in slanted if r.side}
    pattern = _pattern(readings, places, good, slanted=len(slanted) >= 2, turning=len(sides) > 1, bleeding=bleeding)
    stop = pattern in (Pattern.ROUND, Pattern.SLANTED)
    rim = next(iter(sides)) if len(sides) == 1 else ""
    cone = Quantity(
        end.value - SHORT_OF_END, end.low - 2 * SHORT_OF_END, end.high, "mm", end.source, end.supposed, end.leading
    )  # fmt: skip
    return DryEnd(end, far, cone, places, pattern, stop, _action(pattern, cone, far, len(places), rim), rim)


def own_error(resolution: float = RESOLUTION) -> float:
    """Spread of a single dry length about what all points of this canal would give, mm."""
    return float(np.hypot(method("paper point").own, resolution / np.sqrt(12)))


def sounding_of(found: DryEnd) -> Sounding | None:
    """The points as one measurement of the length, for `combine`; None before there is a reading that counts."""
    if found.end is None:
        return None
    return Sounding("paper point", found.end.value, error=(found.end.high - found.end.low) / 2 / Z90)


def _steady(values: NDArray[np.float64], own: float) -> int:
    """How many of the last readings differ no more than their own error explains; at least 1."""
    count = 1
    for n in range(2, len(values) + 1):
        tail = values[-n:]
        found = float(np.sum((tail - tail.mean()) ** 2)) / own**2
        if chi2.sf(found, n - 1) < LIKELY:
            break
        count = n
    return count


def _quantity(values: list[float], own: float) -> Quantity:
    mean = float(np.mean(values))
    half = Z90 * float(np.hypot(method("paper point").shared, own / np.sqrt(len(values))))
    source = Source(
        Origin.MEASURED, f"dry length of {len(values)} paper points; error: {method('paper point').source.detail}"
    )
    return Quantity(mean, mean - half, mean + half, "mm", source, 0.0, "paper point")


def _pattern(
    readings: Sequence[PaperPointReading],
    used: tuple[int, ...],
    good: list[int],
    *,
    slanted: bool,
    turning: bool,
    bleeding: bool,
) -> Pattern:
    if bleeding:
        return Pattern.BLEEDING
    if len(used) >= ENOUGH and used[-1] == len(readings) - 1:
        if slanted and turning:
            return Pattern.TURNING
        return Pattern.SLANTED if slanted else Pattern.ROUND
    earlier = [readings[i].dry for i in good]
    rising = len(earlier) < ENOUGH or earlier[-1] >= max(earlier) - 1e-9
    return Pattern.DRYING if rising or used[-1] != len(readings) - 1 else Pattern.UNSTEADY


def _action(pattern: Pattern, cone: Quantity, far: Quantity | None, count: int, near: str) -> str:
    match pattern:
        case Pattern.ROUND:
            return f"stop: end the cone at {cone.format(1)}"
        case Pattern.SLANTED:
            rim = f" (its far rim lies at {far.format(1)})" if far else ""
            side = f" ({near})" if near else ""
            return f"stop: the near rim{side} decides, end the cone at {cone.format(1)}{rim}; gauge the foramen, expect an oval fit"
        case Pattern.BLEEDING:
            return "stop the bleeding first: irrigate, wait, dry again; if it comes back measure the length anew"
        case Pattern.TURNING:
            return "put each point in at the same turn; if the side still changes look for a torn foramen and measure the length anew"
        case Pattern.UNSTEADY:
            return "the readings wander: dry again, put each point in at the same turn, look for a torn foramen"
        case _:
            return f"{max(ENOUGH - count, 1)} more like the last one before you stop"
