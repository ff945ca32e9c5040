"""Published criteria of an adequate filling, and the chance that a filling meets them.

Each criterion is answered with a probability, from the intervals of what was measured (normal errors), never with a
bare yes: a filling that ends at 2.0 mm is as likely inside the band as outside. The grade is the chance that all hold, the
criteria taken as independent.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from canalwright.assessment import unseen
from canalwright.assessment.result import Criterion, Grade
from canalwright.quantities import Quantity

Z90 = 1.6448536269514722
DROP = 0.1
"""A filling that grows narrower coronally by more than this [mm] has no even taper (our own reading of `consistent taper`)."""
LEAST_TAPER = 0.005
"""Least taper, mm per mm, that counts as tapered (our own reading)."""


@dataclass(frozen=True, slots=True)
class Band:
    """Allowed distances of the end of the filling from the terminus, mm."""

    low: float
    high: float
    source: str

    @property
    def words(self) -> str:
        """The band in words."""
        return f"{self.low:g} to {self.high:g} mm short of the terminus"


WITHIN_TWO = Band(0.0, 2.0, "Liang et al. 2012, Clin Oral Investig 16:1619-1626")
GUIDELINE = Band(0.5, 2.0, "European Society of Endodontology 2006, Int Endod J 39:921-930 (figures from memory)")
BANDS = {"two": WITHIN_TWO, "guideline": GUIDELINE}
EVEN = (
    "no void seen (Liang et al. 2012); uniform density (common practice); voids that no image shows: Jaworska & Kierklo 2017, "
    "J Stomatol 70:638-646, the law of their sizes our own"
)
TAPERED = "consistent taper from coronal to apical (common practice; limits our own reading)"


def chance_within(value: Quantity, low: float, high: float) -> Quantity:
    """Chance that a number lies in a band, from its interval; the chance's own interval lets the error be wrong by half."""
    spread = max((value.high - value.low) / (2 * Z90), 1e-6)

    def chance(scale: float) -> float:
        return float(ndtr((high - value.value) / (spread * scale)) - ndtr((low - value.value) / (spread * scale)))

    middle, others = chance(1.0), (chance(0.67), chance(1.5))
    return Quantity(middle, min(middle, *others), max(middle, *others), "")


def length_criterion(to_terminus: Quantity, band: Band = WITHIN_TWO) -> Criterion:
    """The end of the filling within a band."""
    return Criterion("length", chance_within(to_terminus, band.low, band.high), band.words, band.source)


def density_criterion(chances: tuple[float, ...], smallest: Quantity, length: float) -> Criterion:
    """No void: none of what looks like one is one (`chances`), and none of 0.2 mm or more was missed in `length` mm of filling by an
    image whose `smallest` visible void is known.
    """
    none = float(np.prod([1 - c for c in chances]))
    missed = unseen.chance_of_none(smallest, length, len(chances))
    chance = Quantity(none * missed.value, none * missed.low, none * missed.high, "")
    return Criterion("density", chance, f"no void seen, and none of {unseen.LEAST:g} mm or more missed", EVEN)


def taper_criterion(slope: Quantity, drop: Quantity) -> Criterion:
    """Tapered: `slope` [mm per mm] above 0.005 and nowhere narrower coronally by more than 0.1 mm (`drop`)."""
    wide, even = chance_within(slope, LEAST_TAPER, np.inf), chance_within(drop, -np.inf, DROP)
    value = wide.value * even.value
    chance = Quantity(value, min(value, wide.low * even.low), max(value, wide.high * even.high), "")
    return Criterion("taper", chance, "an even taper towards the apex", TAPERED)


def grade(*criteria: Criterion) -> Grade:
    """All criteria together."""
    value = float(np.prod([c.chance.value for c in criteria]))
    low, high = (float(np.prod([getattr(c.chance, end) for c in criteria])) for end in ("low", "high"))
    return Grade(tuple(criteria), Quantity(value, min(low, value), max(high, value), ""))
