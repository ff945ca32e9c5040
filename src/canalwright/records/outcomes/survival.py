"""Curves over time: Kaplan-Meier, Aalen-Johansen, log-rank.

Kaplan & Meier 1958, J Am Stat Assoc 53:457-481, with Greenwood's variance; Aalen & Johansen 1978, Scand J Stat 5:141-150,
with the variance of Marubini & Valsecchi 1995, Analysing survival data, ch. 10. Intervals on the scale log(-log), so that
they stay between 0 and 1 (Kalbfleisch & Prentice). At a tie, events come before censorings.

Leaves out: that healing is found at a visit and happened before it (interval censoring). A curve of healing is therefore
late by up to the gap between visits, and says so in its `note`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from canalwright.records.errors import BadEntry, TooFew

LEAST_CASES, LEAST_AT_RISK = 20, 5
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Curve:
    """A step curve: `value` holds from `times[i]` on. All tuples have one entry for each time at which an event fell.

    `low` and `high`: interval at `level`; `error`: standard error; `at_risk` just before the time; `until`: beyond this
    time fewer than 5 are at risk, and the curve is not to be drawn. `cases` in all, `censored` of them without an event.
    """

    times: tuple[float, ...]
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    error: tuple[float, ...]
    at_risk: tuple[int, ...]
    events: tuple[int, ...]
    cases: int
    censored: int
    until: float
    level: float = 0.95
    note: str = ""

    def at(self, time: float, start: float) -> float:
        """Value of the curve at a time; `start` before the first event (1 for survival, 0 for incidence)."""
        index = int(np.searchsorted(self.times, time, side="right")) - 1
        return self.value[index] if index >= 0 else start

    def known_at(self, time: float) -> tuple[float, float, float] | None:
        """Value and the ends of its interval at a time; None before the first event, and where fewer than 5 are at risk."""
        index = int(np.searchsorted(self.times, time, side="right")) - 1
        if index < 0 or time > self.until:
            return None
        return self.value[index], self.low[index], self.high[index]

    @property
    def median(self) -> float | None:
        """First time at which survival is one half or less; None when the curve does not come down to it."""
        return next((t for t, v in zip(self.times, self.value, strict=True) if v <= 0.5), None)


def kaplan_meier(times: Sequence[float], happened: Sequence[bool], *, level: float = 0.95, note: str = "") -> Curve:
    """Share without the event over time. Raises TooFew for fewer than 20 cases, BadEntry for negative times."""
    table = _table(times, [int(h) for h in happened])
    died, n = table.events[0], table.at_risk
    survival: Floats = np.asarray(np.cumprod(1 - died / n), float)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(np.where(n > died, died / (n * (n - died)), np.inf))
        error = np.where(survival > 0, survival * np.sqrt(greenwood), 0.0)
        spread = np.sqrt(greenwood) / np.abs(np.log(survival))
    return _curve(table, died, survival, error, spread, np.log(-_log(survival)), level, note, rising=False)


def aalen_johansen(
    times: Sequence[float], causes: Sequence[int], cause: int = 1, *, level: float = 0.95, note: str = ""
) -> Curve:
    """Share with the event of one cause over time, the others competing. `causes`: 0 censored, 1, 2, ... which event.

    Raises TooFew, BadEntry.
    """
    table = _table(times, causes)
    n, every = table.at_risk, table.events[0]
    own = table.events[cause] if cause in table.events else np.zeros_like(n)
    before = np.concatenate([[1.0], np.cumprod(1 - every / n)[:-1]])
    incidence = np.minimum(np.cumsum(before * own / n), 1.0)  # a sum may round to just above 1
    error = np.sqrt(np.maximum(0.0, _incidence_variance(n, every, own, before, incidence)))
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = error / (incidence * np.abs(np.log(incidence)))
    return _curve(table, own, incidence, error, spread, np.log(-_log(incidence)), level, note, rising=True)


@dataclass(frozen=True)
class LogRank:
    """Log-rank test of two groups: events observed and expected in the first, variance, chi square with 1 df, p."""

    observed: int
    expected: float
    variance: float
    chi2: float
    p: float


def log_rank(first: tuple[Sequence[float], Sequence[bool]], second: tuple[Sequence[float], Sequence[bool]]) -> LogRank:
    """Compare two groups of (times, happened). Mantel 1966, Cancer Chemother Rep 50:163-170. Raises BadEntry, TooFew."""
    from scipy.stats import chi2

    a, b = (np.asarray(g[0], float) for g in (first, second))
    da, db = (np.asarray(g[1], bool) for g in (first, second))
    if len(a) != len(da) or len(b) != len(db):
        raise BadEntry("each time needs its word whether the event happened")
    moments = np.unique(np.concatenate([a[da], b[db]]))
    if len(moments) == 0:
        raise TooFew("there is no event in either group: nothing to compare", 0, 1)
    na, nb = ((g[:, None] >= moments).sum(0).astype(float) for g in (a, b))
    oa, ob = ((g[d][:, None] == moments).sum(0).astype(float) for g, d in ((a, da), (b, db)))
    n, o = na + nb, oa + ob
    expected = float((o * na / n).sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = float(np.where(n > 1, o * na * nb * (n - o) / (n * n * (n - 1)), 0.0).sum())
    value = (oa.sum() - expected) ** 2 / variance if variance > 0 else 0.0
    return LogRank(int(oa.sum()), expected, variance, float(value), float(chi2.sf(value, 1)))


@dataclass(frozen=True)
class _Table:
    """Counts at each time of any event; `events[0]` of all causes together."""

    times: Floats
    at_risk: Floats
    events: dict[int, Floats]
    cases: int
    censored: int
    until: float


def _table(times: Sequence[float], causes: Sequence[int]) -> _Table:
    t, c = np.asarray(times, float), np.asarray(causes, int)
    if t.shape != c.shape or t.ndim != 1 or not np.isfinite(t).all() or (t < 0).any() or (c < 0).any():
        raise BadEntry("times are numbers from 0, one for each case, with 0 for censored or the number of the event")
    if len(t) < LEAST_CASES:
        raise TooFew(f"{len(t)} cases are too few for a curve; at least {LEAST_CASES} are needed", len(t), LEAST_CASES)
    moments = np.unique(t[c > 0])
    at_risk = (len(t) - np.searchsorted(np.sort(t), moments, side="left")).astype(float)
    events = {int(k): _counts(t[c == k], moments) for k in np.unique(c[c > 0])}
    events[0] = _counts(t[c > 0], moments)
    return _Table(moments, at_risk, events, len(t), int((c == 0).sum()), float(np.sort(t)[-LEAST_AT_RISK]))


def _curve(
    table: _Table, events: Floats, value: Floats, error: Floats, spread: Floats, loglog: Floats, level: float, note: str,
    *, rising: bool,
) -> Curve:  # fmt: skip
    z = float(ndtri((1 + level) / 2))
    inside = (value > 0) & (value < 1) & np.isfinite(spread)
    with np.errstate(invalid="ignore", over="ignore"):
        ends = [np.where(inside, np.exp(-np.exp(loglog + sign * z * spread)), value) for sign in (1, -1)]
    low, high = np.minimum(*ends), np.maximum(*ends)
    if not rising:
        low = np.where(value <= 0, 0.0, low)
    return Curve(
        tuple(map(float, table.times)),
        tuple(map(float, value)),
        tuple(map(float, low)),
        tuple(map(float, high)),
        tuple(map(float, error)),
        tuple(int(n) for n in table.at_risk),
        tuple(int(d) for d in events),
        table.cases,
        table.censored,
        table.until,
        level,
        note,
    )


def _incidence_variance(n: Floats, every: Floats, own: Floats, before: Floats, incidence: Floats) -> Floats:
    """Delta method; the sums run over all event times up to each time."""
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(n > every, every / (n * (n - every)), 0.0)
    share = before * own / n**2
    moments = [np.cumsum(hazard * incidence**k) for k in (0, 1, 2)]
    first = incidence**2 * moments[0] - 2 * incidence * moments[1] + moments[2]
    second = np.cumsum(before**2 * (n - own) * own / n**3)
    third = incidence * np.cumsum(share) - np.cumsum(share * incidence)
    return np.asarray(first + second - 2 * third)


def _counts(times: Floats, moments: Floats) -> Floats:
    """How many of `times` fall on each of `moments`, which hold them all."""
    return np.bincount(np.searchsorted(moments, times), minlength=len(moments)).astype(float)


def _log(value: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(value))
