"""Ranks in a class: the mean of the ranks in plain measures, each of which everybody can check by hand.

Share of steps that are worth a word, error of the depths, error of the seconds of heat, rise at the root surface above the plan's, and,
where there are scans after the filling, how far its end lies from the planned one. Measures that nobody has count for nobody.
Equal values share the middle of their ranks. A measure that somebody lacks (no depth noted, say) is ranked last there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import rankdata

from canalwright.cohort.job import Row

MEASURES = {
    "off": "steps worth a word, %",
    "depth": "depth off, mm",
    "heat": "heat off, s",
    "rise": "rise above the plan's, K",
    "end": "end of the filling off, mm",
}


@dataclass(frozen=True, slots=True)
class Placed:
    """A student's place: the measures (None where there is nothing to measure), the rank in each, their mean, and the place."""

    student: str
    logs: int
    values: tuple[float | None, ...]
    ranks: tuple[float, ...]
    mean: float
    place: int

    def row(self) -> Row:
        """As a row of a table."""
        measures = dict(zip(MEASURES, self.values, strict=True))
        ranks = {f"rank_{m}": r for m, r in zip(MEASURES, self.ranks, strict=True)}
        return {
            "student": self.student,
            "place": self.place,
            "mean_rank": self.mean,
            "logs": self.logs,
            **measures,
            **ranks,
        }


def placed(rows: Sequence[Row]) -> tuple[Placed, ...]:
    """All students of whom something could be measured, best first; equal means share a place and stand by pseudonym."""
    measured = {s: _measures([r for r in rows if r["student"] == s]) for s in sorted({row["student"] for row in rows})}
    students = [s for s, found in measured.items() if not np.all(np.isnan(found))]
    if not students:
        return ()
    values = np.array([measured[s] for s in students], dtype=float)
    ranks = np.column_stack([rankdata(np.where(np.isnan(column), np.inf, column)) for column in values.T])
    means = ranks.mean(axis=1)
    places = rankdata(means, method="min").astype(int)
    found = [
        Placed(
            s, sum(r["student"] == s and r.get("done") is not None for r in rows),
            tuple(None if np.isnan(v) else float(v) for v in values[i]),
            tuple(float(r) for r in ranks[i]), float(means[i]), int(places[i]),
        )
        for i, s in enumerate(students)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda p: (p.place, p.student)))


def _measures(rows: Sequence[Row]) -> list[float]:
    def mean(values: list[float | None]) -> float:
        there = [v for v in values if v is not None]
        return float(np.mean(there)) if there else float("nan")

    logs = [r for r in rows if r.get("done") is not None]
    scans = [r for r in rows if r.get("check_to_terminus") is not None]
    return [
        mean([100 * r["off"] / r["done"] if r["done"] else None for r in logs]),
        mean([r["depth_error"] for r in logs]),
        mean([r["heat_error"] for r in logs]),
        mean([max(r["rise"] - r["planned_rise"], 0.0) for r in logs]),
        mean([abs(r["check_to_terminus"] - r["planned_end"]) for r in scans]),
    ]
