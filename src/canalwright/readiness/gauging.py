"""Apical gauging by a series of files: each that passes or stops is an inequality on the width; together they are an interval.

A file of size s passes where the width is at least its tip d = s / 100 + e, e uniform within its ISO tolerance t:
P(passes | w) = clip((w - s / 100 + t) / 2t, 0, 1). Before the first trial any width from 0.05 to 1.6 mm is as
likely as any other; after it the density is the product of the chances (Bayes). Left out: an oval end (a round gauge finds
its least width), a file stopped by the curve or by the wall above: feel whether it binds at its tip.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.instruments import iso3630
from canalwright.quantities import Origin, Quantity, Reading, Shape, Source

Array = NDArray[np.float64]
LEAST, MOST, STEP = 0.05, 1.6, 0.0005
DOUBTFUL = 0.02
"""Chance of a series under the best width below which its trials contradict each other."""


@dataclass(frozen=True, slots=True)
class GaugeTrial:
    """One gauging file: its ISO size and whether it passed the end of the preparation. Raises ValueError for another size."""

    size: int
    passes: bool

    def __post_init__(self) -> None:
        iso3630.check_size(self.size)


@dataclass(frozen=True)
class Gauge:
    """Width [mm] at the end of the preparation by a series of trials.

    `least`, `greatest`: what all trials allow (0 and infinity where that side is open). `next_size`: the size to try next, None
    when no size between would add anything. `contradiction` names two trials that cannot both be right, or is empty.
    """

    trials: tuple[GaugeTrial, ...]
    width: Quantity
    least: float
    greatest: float
    next_size: int | None
    contradiction: str

    @property
    def closed(self) -> bool:
        """True where the width is bounded on both sides."""
        return self.least > 0 and np.isfinite(self.greatest)

    def reading(self) -> Reading:
        """The width as an input: uniform, as wide as the trials leave it. Raises ValueError where a side is open."""
        if not self.closed:
            raise ValueError("the width is open on one side: gauge until one file passes and the next one stops")
        middle, half = (self.least + self.greatest) / 2, abs(self.greatest - self.least) / 2
        tried = ", ".join(f"{t.size} {'passes' if t.passes else 'stops'}" for t in self.trials)
        return Reading(middle, half, "mm", Source(Origin.MEASURED, f"gauged: {tried}"), Shape.UNIFORM, least=0.0)


def gauge(trials: Sequence[GaugeTrial]) -> Gauge:
    """What a series of gauging files says of the width. Raises ValueError for none."""
    if not trials:
        raise ValueError("no gauging file: try one, such as the size of the finishing file")
    trials = tuple(trials)
    passed = [t.size for t in trials if t.passes]
    stopped = [t.size for t in trials if not t.passes]
    least = max((s / 100 - iso3630.file_tolerance(s) for s in passed), default=0.0)
    greatest = min((s / 100 + iso3630.file_tolerance(s) for s in stopped), default=np.inf)
    width = np.arange(LEAST, MOST + STEP / 2, STEP)
    chance = np.prod([_passes(width, t.size) if t.passes else 1 - _passes(width, t.size) for t in trials], axis=0)
    contradiction = ""
    if float(chance.max()) < DOUBTFUL:
        contradiction = (
            f"file {max(passed)} passes but file {min(stopped)} stops: check the sizes and whether the smaller one binds "
            "above the end; an oval or curved end can do this"
        )
        least, greatest = sorted((least, greatest))
        chance = np.where((width >= least) & (width <= greatest), 1.0, 0.0)
    return Gauge(
        trials, _interval(width, chance), least, float(greatest), _next(passed, stopped, contradiction), contradiction
    )


def _passes(width: Array, size: int) -> Array:
    tolerance = iso3630.file_tolerance(size)
    return np.asarray(np.clip((width - size / 100 + tolerance) / (2 * tolerance), 0.0, 1.0))


def _interval(width: Array, density: Array) -> Quantity:
    total = np.cumsum(density)
    low, middle, high = (float(np.interp(p, total / total[-1], width)) for p in (0.05, 0.5, 0.95))
    return Quantity(middle, low, high, "mm", Source(Origin.MEASURED, "apical gauging, ISO 3630-1 tolerances"))


def _next(passed: list[int], stopped: list[int], contradiction: str) -> int | None:
    """The middle one of the sizes between the largest that passed and the smallest that stopped."""
    if contradiction:
        return min(stopped)
    low, high = max(passed, default=0), min(stopped, default=10_000)
    between = [s for s in iso3630.SIZES if low < s < high]
    if not between:
        return None
    if not stopped:
        return between[0]
    return between[-1] if not passed else between[len(between) // 2]
