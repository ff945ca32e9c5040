"""Proportions with their intervals.

Wilson score interval: Wilson 1927, J Am Stat Assoc 22:209-212; with continuity correction: Newcombe 1998, Stat Med
17:857-872. Odds ratio: Woolf 1955, Ann Hum Genet 19:251-253, with one half added to each cell when one of them is empty.
"""

from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import NormalDist

from canalwright.records.errors import BadEntry, TooFew

LEAST = 10


@dataclass(frozen=True)
class Proportion:
    """`count` of `of`, with the interval at `level`."""

    count: int
    of: int
    value: float
    low: float
    high: float
    level: float = 0.95


def wilson(count: int, of: int, *, level: float = 0.95, corrected: bool = False) -> Proportion:
    """Proportion with its Wilson interval; `corrected` for continuity. Raises BadEntry unless 0 <= count <= of > 0."""
    if not 0 <= count <= of or of == 0:
        raise BadEntry(f"{count} of {of} is no proportion")
    z, p = _z(level), count / of
    if not corrected:
        centre = count + z * z / 2
        half = z * sqrt(count * (of - count) / of + z * z / 4)
        low, high = (centre - half) / (of + z * z), (centre + half) / (of + z * z)
    else:
        middle, under = 2 * of * p + z * z, 2 * (of + z * z)
        low = (middle - 1 - z * sqrt(max(0.0, z * z - 2 - 1 / of + 4 * p * (of * (1 - p) + 1)))) / under
        high = (middle + 1 + z * sqrt(max(0.0, z * z + 2 - 1 / of + 4 * p * (of * (1 - p) - 1)))) / under
    low = 0.0 if count == 0 else max(0.0, low)
    high = 1.0 if count == of else min(1.0, high)
    return Proportion(count, of, p, low, high, level)


def shown(count: int, of: int, level: float = 0.95) -> Proportion:
    """A proportion that may be shown: raises TooFew for fewer than 10 cases, where a percentage misleads."""
    if of < LEAST:
        raise TooFew(f"{of} cases are too few for a percentage; at least {LEAST} are needed", of, LEAST)
    return wilson(count, of, level=level)


@dataclass(frozen=True)
class OddsRatio:
    """Odds ratio of a two by two table with its interval at `level`; `corrected` when one half was added."""

    value: float
    low: float
    high: float
    corrected: bool
    level: float = 0.95


def odds_ratio(a: float, b: float, c: float, d: float, *, level: float = 0.95) -> OddsRatio:
    """Odds of success in the first row (a good, b bad) over those in the second (c good, d bad). Raises BadEntry."""
    cells = (a, b, c, d)
    if min(cells) < 0 or a + b == 0 or c + d == 0:
        raise BadEntry(f"{cells} is no table of counts with two rows")
    corrected = 0 in cells
    if corrected:
        a, b, c, d = (n + 0.5 for n in cells)
    middle, half = log(a * d / (b * c)), _z(level) * sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    return OddsRatio(exp(middle), exp(middle - half), exp(middle + half), corrected, level)


def _z(level: float) -> float:
    if not 0 < level < 1:
        raise BadEntry(f"a level of confidence lies between 0 and 1, not at {level}")
    return NormalDist().inv_cdf((1 + level) / 2)
