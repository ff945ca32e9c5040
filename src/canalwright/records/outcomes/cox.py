"""What goes with the outcome: proportional hazards, errors that allow for several teeth of one patient.

Cox 1972, J R Stat Soc B 34:187-220, ties after Efron, fitted by statsmodels; errors from the sandwich of score residuals
summed by patient (Lin & Wei 1989, J Am Stat Assoc 84:1074-1078). Leaves out: hazards that are not proportional (pain before
treatment weighed 3.1 before and 2.4 after 22 months in Ng, Mann & Gulabivala 2011, Int Endod J), and causes: what goes
with an outcome need not bring it about.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from canalwright.records.errors import BadEntry, TooFew

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]
EVENTS_PER_FACTOR, LEAST_PATIENTS = 10, 20
LARGEST_ERROR = 10.0  # of a log ratio for one standard deviation of a factor: beyond it the ratio has run away


@dataclass(frozen=True)
class Hazard:
    """One factor: hazard ratio for one step of it, with its interval at `level`, and p. `log`, `error`: natural log scale."""

    factor: str
    ratio: float
    low: float
    high: float
    p: float
    log: float
    error: float


@dataclass(frozen=True)
class CoxModel:
    """All factors together. `cases`, `events`, `patients` it rests on."""

    hazards: tuple[Hazard, ...]
    cases: int
    events: int
    patients: int
    level: float


def cox(
    times: Sequence[float],
    happened: Sequence[bool],
    factors: Mapping[str, Sequence[float]],
    patients: Sequence[str],
    *,
    level: float = 0.95,
) -> CoxModel:
    """Fit `factors` (numbers, or 0 and 1) to the times of an event.

    Raises TooFew for fewer than 10 events a factor or 20 patients; BadEntry for a factor that is always the same, follows
    from the others, or parts the cases so that no finite ratio exists.
    """
    t, d = np.asarray(times, float), np.asarray(happened, int)
    x = np.column_stack([np.asarray(v, float) for v in factors.values()]) if factors else np.zeros((len(t), 0))
    if not len(t) == len(d) == len(x) == len(patients) or not np.isfinite(x).all() or not (t > 0).all():
        raise BadEntry("each case needs a time above 0, its patient and every factor as a number")
    names, clusters = np.unique(np.asarray(patients, str), return_inverse=True)
    need = EVENTS_PER_FACTOR * max(1, len(factors))
    if d.sum() < need:
        raise TooFew(
            f"{d.sum()} events carry too little for {len(factors)} factors; {need} are needed", int(d.sum()), need
        )
    if len(names) < LEAST_PATIENTS:
        raise TooFew(f"{len(names)} patients are too few; {LEAST_PATIENTS} are needed", len(names), LEAST_PATIENTS)
    scale = x.std(0)
    if x.shape[1] == 0 or (scale == 0).any() or np.linalg.matrix_rank(x - x.mean(0)) < x.shape[1]:
        raise BadEntry("a factor is always the same or follows from the others: leave it out")
    log, error = _fit(t, d, (x - x.mean(0)) / scale, clusters)
    log, error = log / scale, error / scale
    z = float(ndtri((1 + level) / 2))
    hazards = tuple(
        Hazard(name, exp(b), exp(b - z * s), exp(b + z * s), float(2 * ndtr(-abs(b / s))), float(b), float(s))
        for name, b, s in zip(factors, log, error, strict=True)
    )
    return CoxModel(hazards, len(t), int(d.sum()), len(names), level)


def _fit(t: Floats, d: Ints, x: Floats, clusters: Ints) -> tuple[Floats, Floats]:
    """Log hazard ratios and their errors clustered by patient, of standardised factors."""
    from statsmodels.duration.hazard_regression import PHReg

    model = PHReg(t, x, d, ties="efron")
    try:
        found = model.fit(disp=False, warn_convergence=False)
        settled = bool((np.asarray(found.bse) < LARGEST_ERROR).all())
    except np.linalg.LinAlgError:
        settled = False
    if not settled:
        raise BadEntry("a factor parts the cases so well that no ratio can be given: leave it out or join groups")
    residuals = np.nan_to_num(model.score_residuals(found.params))  # undefined before the first event: no share in it
    sums = np.zeros((clusters.max() + 1, x.shape[1]))
    np.add.at(sums, clusters, residuals)
    bread = np.linalg.inv(model.hessian(found.params))
    return np.asarray(found.params), np.sqrt(np.diag(bread @ sums.T @ sums @ bread))
