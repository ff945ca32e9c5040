"""Do two readers see the same? Cohen's kappa (Cohen 1960, Educ Psychol Meas 20:37-46), weighted for an ordinal grade
(Cohen 1968, Psychol Bull 70:213-220), through statsmodels, whose interval is that of Fleiss, Cohen & Everitt 1969.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from canalwright.records.errors import BadEntry, TooFew

LEAST = 20
Weights = Literal["none", "linear", "quadratic"]


@dataclass(frozen=True)
class Kappa:
    """Kappa with its 95 % interval; `agreement` is the bare share of equal grades, `pairs` how many were read twice."""

    value: float
    low: float
    high: float
    agreement: float
    pairs: int
    weights: Weights


def kappa_of(table: ArrayLike, weights: Weights = "none") -> Kappa:
    """Kappa of a square table of counts. Raises BadEntry, TooFew for fewer than 20 pairs or readings all alike."""
    counts = np.asarray(table, float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise BadEntry("agreement is reckoned from a square table of counts")
    pairs = int(counts.sum())
    if pairs < LEAST:
        raise TooFew(f"{pairs} films read twice are too few; at least {LEAST} are needed", pairs, LEAST)
    used = counts.sum(0) + counts.sum(1) > 0
    if used.sum() < 2:
        raise TooFew("all readings are alike: kappa says nothing about readers who only ever saw one grade", 1, 2)
    from statsmodels.stats.inter_rater import cohens_kappa

    found = cohens_kappa(counts, wt=None if weights == "none" else weights)
    return Kappa(
        float(found.kappa),
        float(found.kappa_low),
        float(found.kappa_upp),
        float(np.trace(counts) / pairs),
        pairs,
        weights,
    )


def kappa(first: Sequence[int], second: Sequence[int], weights: Weights = "quadratic", grades: int = 5) -> Kappa:
    """Kappa of two readers' grades, 1 to `grades`, film by film. Raises BadEntry, TooFew."""
    if len(first) != len(second) or not all(1 <= g <= grades for g in (*first, *second)):
        raise BadEntry(f"both readers grade the same films, from 1 to {grades}")
    table = np.zeros((grades, grades))
    np.add.at(table, (np.asarray(first, int) - 1, np.asarray(second, int) - 1), 1)
    return kappa_of(table, weights)
