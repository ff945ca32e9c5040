"""What the rows of a study answer, each share and difference with its 95 % interval.

Shares of teeth: Clopper & Pearson 1934 (Biometrika 26:404-413), exact, never too narrow; mean chances of a filling as if each tooth were
wholly a hit or a miss, which is wider still. Paired differences: Student's t over teeth, since the canals and draws of one tooth are not
independent. The intervals are those of the
number of virtual teeth; how far the model and the published distributions are from real teeth is not in them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from canalwright.cohort.job import Row

Array = NDArray[np.float64]
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval, from `count` teeth."""

    value: float
    low: float
    high: float
    count: int

    def verdict(self, aim: float) -> str:
        """Whether it is at least `aim`: "yes" or "no" where the whole interval says so, else "not decided"."""
        return "yes" if self.low >= aim else "no" if self.high < aim else "not decided"


@dataclass(frozen=True, slots=True)
class Heat:
    """One protocol in one group: share of fillings (tooth and draw) under the limit, of teeth whose expected rise is, and of teeth that
    are in 19 of 20 draws; quantiles of the rise over teeth (worst canal of each)."""

    group: str
    protocol: str
    fillings: Estimate
    expected: Estimate
    nearly_always: Estimate
    median: float
    highest: float
    refused: int


@dataclass(frozen=True, slots=True)
class ReachAnswer:
    """One protocol (with its tray) in one group: share of teeth in which the apical plugger gets near enough in every canal as planned,
    and the mean chance that it does; the pluggers that were chosen, most frequent first."""

    group: str
    protocol: str
    teeth: Estimate
    chance: Estimate
    pluggers: tuple[tuple[str, float], ...]
    refused: int


@dataclass(frozen=True, slots=True)
class Gain:
    """What a protocol gains over the one before it, tooth by tooth: nearness of soft gutta-percha to the end [mm, positive is deeper], rise
    [K], time [s], share of voids (None where not asked)."""

    group: str
    before: str
    after: str
    depth: Estimate
    rise: Estimate
    seconds: Estimate
    void: Estimate | None


def share(hits: float, count: int) -> Estimate:
    """A share of teeth. Raises ValueError for a count below 1."""
    if count < 1:
        raise ValueError("a share needs at least one tooth")
    tail = (1 - LEVEL) / 2
    low = 0.0 if hits <= 0 else float(stats.beta.ppf(tail, hits, count - hits + 1))
    high = 1.0 if hits >= count else float(stats.beta.ppf(1 - tail, hits + 1, count - hits))
    return Estimate(hits / count, min(low, hits / count), max(high, hits / count), count)


def mean(values: Array) -> Estimate:
    """A mean over teeth, shape (n,); of one tooth the interval is without bounds."""
    values = np.asarray(values, dtype=float)
    n, middle = len(values), float(np.mean(values))
    if n < 2:
        return Estimate(middle, -np.inf, np.inf, n)
    half = float(stats.t.ppf((1 + LEVEL) / 2, n - 1) * np.std(values, ddof=1) / np.sqrt(n))
    return Estimate(middle, middle - half, middle + half, n)


def mean_chance(chances: Array) -> Estimate:
    """A mean chance over teeth, (n,), with the interval of a share of whole teeth of that size.

    Chances vary no more than whole hits and misses with the same mean, so that the interval is never too narrow; Student's t would be near
    1, where a few teeth decide and may not be among those drawn.
    """
    return share(float(np.sum(chances)), len(chances))


def heat(rows: Sequence[Row], limit: float) -> list[Heat]:
    """By group and protocol. A protocol that could not be carried out in a canal of a tooth counts as not under the limit."""
    found = []
    for (group, protocol), teeth in _by(rows).items():
        rise = np.array([max(_of(r, "rise") for r in canals) for canals in teeth])
        top = np.array([max(_of(r, "rise_95") for r in canals) for canals in teeth])
        under = np.array([1 - max(_of(r, "over", 1.0) for r in canals) for canals in teeth])
        there = rise[np.isfinite(rise)]
        found.append(
            Heat(
                group, protocol, mean_chance(under), share(int(np.sum(rise <= limit)), len(rise)),
                share(int(np.sum(top <= limit)), len(top)),
                float(np.median(there)) if len(there) else np.nan, float(np.max(there)) if len(there) else np.nan,
                int(np.sum(~np.isfinite(rise))),
            )
        )  # fmt: skip
    return found


def reach(rows: Sequence[Row]) -> list[ReachAnswer]:
    """By group and protocol."""
    found = []
    for (group, protocol), teeth in _by(rows).items():
        met = [all(bool(r.get("reach")) for r in canals) for canals in teeth]
        chance = np.array([min(_of(r, "reach_chance", 0.0) for r in canals) for canals in teeth])
        names = [str(r["plugger"]) for canals in teeth for r in canals if not r.get("refused")]
        counts = sorted(((n, names.count(n) / len(names)) for n in set(names)), key=lambda pair: (-pair[1], pair[0]))
        refused = sum(any(r.get("refused") for r in canals) for canals in teeth)
        found.append(
            ReachAnswer(group, protocol, share(sum(met), len(met)), mean_chance(chance), tuple(counts), refused)
        )
    return found


def gains(rows: Sequence[Row]) -> list[Gain]:
    """By group, each protocol against the one before it; only canals in which both could be carried out."""
    found = []
    kept = {(r["tooth"], r["canal"], r["group"], r["protocol"]): r for r in rows if not r.get("refused")}
    for group in _names(rows, "group"):
        for before, after in pairwise(_names(rows, "protocol")):
            pairs: dict[str, list[tuple[Row, Row]]] = {}
            for (tooth, canal, g, p), later in kept.items():
                if g == group and p == after and (tooth, canal, g, before) in kept:
                    pairs.setdefault(tooth, []).append((kept[tooth, canal, g, before], later))
            if pairs:
                found.append(_gain(group, before, after, list(pairs.values())))
    return found


def _gain(group: str, before: str, after: str, teeth: list[list[tuple[Row, Row]]]) -> Gain:
    def change(name: str, sign: float = 1.0) -> Estimate:
        return mean(np.array([np.mean([sign * (b[name] - a[name]) for a, b in canals]) for canals in teeth]))

    void = change("void") if teeth[0][0][0].get("void") is not None else None
    return Gain(group, before, after, change("front", -1.0), change("rise"), change("seconds"), void)


def _by(rows: Sequence[Row]) -> dict[tuple[str, str], list[list[Row]]]:
    """Rows by group and protocol, in the order of the file; within, those of one tooth together."""
    found: dict[tuple[str, str], dict[str, list[Row]]] = {}
    for row in rows:
        found.setdefault((row["group"], row["protocol"]), {}).setdefault(row["tooth"], []).append(row)
    return {key: list(teeth.values()) for key, teeth in found.items()}


def _of(row: Row, name: str, missing: float = np.inf) -> float:
    value = row.get(name)
    return missing if value is None else float(value)


def _names(rows: Sequence[Row], key: str) -> list[str]:
    return list(dict.fromkeys(row[key] for row in rows))
