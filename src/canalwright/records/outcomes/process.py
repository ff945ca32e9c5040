"""How the work itself goes: chair times, holds kept, heat margin, case after case, so that a student's progress shows.

Individuals chart: Shewhart's chart of single values with the moving range of two, limits at 2.66 mean ranges (3/1.128;
Wheeler & Chambers 1992, Understanding statistical process control; constants also in ISO 7870-2). Signals: a value beyond a
limit; 8 in a row on one side of the centre. Leaves out: a cause. A signal says look, not why.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from canalwright.records.errors import TooFew
from canalwright.records.outcomes.cases import CaseOutcome

LEAST, RUN, FACTOR = 10, 8, 2.66


@dataclass(frozen=True)
class Point:
    """One case in the order of filling. `signal`: empty, `beyond` a limit, or the end of a `run` on one side."""

    case: str
    on: date
    value: float
    signal: str


@dataclass(frozen=True)
class Chart:
    """A process chart. `centre`, `low`, `high` from the first `based_on` cases; `slope`: change per 10 cases (Theil-Sen)
    with its 95 % interval."""

    name: str
    points: tuple[Point, ...]
    centre: float
    low: float
    high: float
    based_on: int
    slope: float
    slope_low: float
    slope_high: float


def chart(cases: Sequence[CaseOutcome], factor: str, base: int = 20) -> Chart:
    """Chart of a logged number, such as `chair.seconds`, `chair.holds_kept` or `plan.heat margin`.

    Limits rest on the first `base` cases (all, when fewer), so that a later change shows against them.
    Raises TooFew for fewer than 10 cases with the number.
    """
    found = [(c, c.factors[factor]) for c in sorted(cases, key=lambda c: (c.filled, c.case)) if factor in c.factors]
    known = [(c, float(v)) for c, v in found if not isinstance(v, bool | str)]
    if len(known) < LEAST:
        raise TooFew(
            f"{len(known)} cases with this number are too few for a chart; {LEAST} are needed", len(known), LEAST
        )
    from scipy.stats import theilslopes

    values = np.array([v for _, v in known])
    start = values[: max(base, LEAST)]
    centre, spread = float(start.mean()), FACTOR * float(np.abs(np.diff(start)).mean())
    slope, _, low, high = (10 * float(s) for s in theilslopes(values))
    signals = _signals(values, centre, centre - spread, centre + spread)
    points = tuple(Point(c.case, c.filled, v, s) for (c, v), s in zip(known, signals, strict=True))
    return Chart(factor, points, centre, centre - spread, centre + spread, len(start), slope, low, high)


def _signals(values: NDArray[np.float64], centre: float, low: float, high: float) -> list[str]:
    found: list[str] = []
    run, side = 0, 0
    slack = 1e-9 * max(1.0, abs(centre))  # equal numbers are equal, however their mean was rounded
    for value in values:
        here = 0 if abs(value - centre) <= slack else int(np.sign(value - centre))
        run, side = (run + 1 if here == side and here else int(here != 0)), here
        found.append("beyond" if not low - slack <= value <= high + slack else "run" if run >= RUN else "")
    return found
