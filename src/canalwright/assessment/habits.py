"""A clinician's own habits: how far trims, stops and ends of fillings really land, learned case by case.

Each habit is a normal law of unknown mean and spread; what is believed of it before the first case is a normal-inverse-gamma
law, and every residual updates it (Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., ch. 3.3):

    k' = k + 1,  m' = (k m + x) / k',  a' = a + 1/2,  b' = b + k (x - m)^2 / (2 k')

The next one lands by Student's t with 2a degrees of freedom, centre m and scale sqrt(b (k + 1) / (a k)). Cases share a habit, so residuals
of one case count together: their mean enters once, with the spread among cases (a hierarchy of two floors, the lower
one summed up by its mean). Shown to the clinician; nothing in a plan changes by it.

Left out: that a habit drifts (see `drift`: the last ten against those before), and differences between kinds of tooth.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from scipy.stats import t as student

from canalwright.quantities import Quantity

PRIOR_CASES = 1.0
"""How many cases the belief in a mean of 0 is worth (our own)."""
PRIOR_SPREAD = {"trim": 0.5, "carrier stop": 0.25, "plugger stop": 0.25, "end": 0.5, "top": 0.5}
"""Believed spread before the first case, mm: that of setting a stop 0.25 (`planning.practice`), of a seat and an end 0.5 (our own)."""
PRIOR_WEIGHT = 2.0
"""Shape of the belief in the spread: worth four residuals."""
WINDOW = 10


@dataclass(frozen=True, slots=True)
class Habit:
    """What is known of one habit: `mean`, `weight` (k), `shape` (a), `rate` (b) of the law, `cases` seen, `latest` case means."""

    name: str
    mean: float
    weight: float
    shape: float
    rate: float
    cases: int = 0
    latest: tuple[float, ...] = ()

    @classmethod
    def fresh(cls, name: str) -> Self:
        """Before the first case."""
        spread = PRIOR_SPREAD.get(name, 0.5)
        return cls(name, 0.0, PRIOR_CASES, PRIOR_WEIGHT, spread**2 * PRIOR_WEIGHT)

    def seen(self, residuals: Sequence[float]) -> Self:
        """With one more case, whose residuals [mm] count as their mean. Raises ValueError for numbers that are not finite."""
        if not len(residuals):
            return self
        x = float(np.mean(residuals))
        if not np.isfinite(x):
            raise ValueError("a residual is not a number")
        k = self.weight + 1
        return replace(
            self,
            mean=(self.weight * self.mean + x) / k,
            weight=k,
            shape=self.shape + 0.5,
            rate=self.rate + self.weight * (x - self.mean) ** 2 / (2 * k),
            cases=self.cases + 1,
            latest=(*self.latest, x),
        )

    @property
    def centre(self) -> Quantity:
        """Where it lands on average, with the 5-95 % interval of that average, mm."""
        return self._law(float(np.sqrt(self.rate / (self.shape * self.weight))))

    @property
    def next_one(self) -> Quantity:
        """Where the next case will land, 5-95 %, mm."""
        return self._law(float(np.sqrt(self.rate * (self.weight + 1) / (self.shape * self.weight))))

    @property
    def spread(self) -> float:
        """Standard deviation from case to case, mm (mean of the law)."""
        return float(np.sqrt(self.rate / max(self.shape - 1, 0.5)))

    @property
    def drift(self) -> Quantity | None:
        """Mean of the last ten cases less that of the earlier ones, mm; None before twenty."""
        if self.cases < 2 * WINDOW:
            return None
        late, early = np.array(self.latest[-WINDOW:]), np.array(self.latest[:-WINDOW])
        gap = float(late.mean() - early.mean())
        error = float(np.sqrt(late.var(ddof=1) / len(late) + early.var(ddof=1) / len(early)))
        wide = float(student.ppf(0.95, WINDOW - 1)) * error
        return Quantity(gap, gap - wide, gap + wide, "mm")

    def _law(self, scale: float) -> Quantity:
        half = float(student.ppf(0.95, 2 * self.shape)) * scale
        return Quantity(self.mean, self.mean - half, self.mean + half, "mm")


def learned(cases: Iterable[Sequence[tuple[str, float]]]) -> tuple[Habit, ...]:
    """Habits from cases in their order, each a list of (habit, residual mm)."""
    found: dict[str, Habit] = {}
    for case in cases:
        for name in dict.fromkeys(n for n, _ in case):
            habit = found.get(name, Habit.fresh(name))
            found[name] = habit.seen([r for n, r in case if n == name])
    return tuple(found.values())


def of_events(payloads: Iterable[object]) -> tuple[Habit, ...]:
    """Habits from what the records keep of checks: the `habits` of each, a list of [name, mm]; what is none is passed over."""
    return learned([_read(p) for p in payloads])


def _read(payload: object) -> list[tuple[str, float]]:
    rows = payload.get("habits") if isinstance(payload, dict) else None
    found = []
    for row in rows if isinstance(rows, list) else []:
        if not (isinstance(row, list) and len(row) == 2 and isinstance(row[0], str)):
            continue
        if isinstance(row[1], int | float) and abs(row[1]) < 30:
            found.append((row[0][:40], float(row[1])))
    return found
