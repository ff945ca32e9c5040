"""Recall, outcome and sign-in: published worked examples computed by our own functions."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import cache

import pyotp

from canalwright.records.canonical import canonical
from canalwright.records.outcomes import (
    CoxModel,
    Curve,
    LogRank,
    aalen_johansen,
    cox,
    kaplan_meier,
    log_rank,
    odds_ratio,
    wilson,
)
from canalwright.records.outcomes.agreement import kappa_of
from canalwright.records.recall import GUIDELINE, Visit, judge
from tests.evidence.table import Check, Seen

DRUG = [(t, True) for t in (6, 6, 6, 7, 10, 13, 16, 22, 23)]
DRUG += [(t, False) for t in (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)]
PLACEBO = [(t, True) for t in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)]
FREIREICH = "Freireich et al. 1963, Blood 21:699-716"
NEWCOMBE = "Newcombe 1998, Stat Med 17:857-872"
DIGITS4 = "the source gives 4 decimals"
DIGITS3 = "the source gives 3 decimals"


def _pair(rows: list[tuple[int, bool]]) -> tuple[list[float], list[bool]]:
    return [float(t) for t, _ in rows], [d for _, d in rows]


@cache
def _drug() -> Curve:
    return kaplan_meier(*_pair(DRUG))


@cache
def _placebo() -> Curve:
    return kaplan_meier(*_pair(PLACEBO))


@cache
def _rank() -> LogRank:
    return log_rank(_pair(DRUG), _pair(PLACEBO))


@cache
def _cox() -> CoxModel:
    times, happened = (a + b for a, b in zip(_pair(DRUG), _pair(PLACEBO), strict=True))
    arm = [0.0] * len(DRUG) + [1.0] * len(PLACEBO)
    return cox(times, happened, {"placebo": arm}, [str(i) for i in range(len(times))])


def _row(
    name: str, ours: Callable[[], float], theirs: float, tolerance: float, why: str, source: str, seen: Seen,
    conditions: str = "", unit: str = "", miss: str = "",
) -> Check:  # fmt: skip
    return Check("records", name, ours, theirs, tolerance, why, unit, source, seen, conditions, miss=miss)


SURVIVAL = [
    (6, 0.8571, 0.0764), (7, 0.8067, 0.0869), (10, 0.7529, 0.0963), (13, 0.6902, 0.1068),
    (16, 0.6275, 0.1141), (22, 0.5378, 0.1282), (23, 0.4482, 0.1346),
]  # fmt: skip
WILSON = [
    (81, 263, False, 0.2553, 0.3662), (15, 148, False, 0.0624, 0.1605), (0, 20, False, 0.0, 0.1611),
    (1, 29, False, 0.0061, 0.1718), (81, 263, True, 0.2535, 0.3682), (15, 148, True, 0.0598, 0.1644),
    (0, 20, True, 0.0, 0.2005), (1, 29, True, 0.0018, 0.1963),
]  # fmt: skip
KAPPAS = [([[20, 5], [10, 15]], 0.4000), ([[45, 15], [25, 15]], 0.1304), ([[25, 35], [5, 35]], 0.2593)]
OTP = [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (1234567890, "005924"), (2000000000, "279037")]

CHECKS: list[Check] = [
    *[
        _row(
            f"Kaplan-Meier survival at {t} weeks", lambda t=t: _drug().at(t, 1.0), s, 5e-5, DIGITS4,  # type: ignore[misc]
            FREIREICH, "closed form", "drug arm, 21 children, product of (1 - d/n) by hand",
        )
        for t, s, _ in SURVIVAL
    ],
    *[
        _row(
            f"Greenwood error at {t} weeks", lambda i=i: _drug().error[i], e, 6e-5, DIGITS4, FREIREICH,  # type: ignore[misc]
            "closed form", "drug arm",
        )
        for i, (t, _, e) in enumerate(SURVIVAL)
    ],
    _row("median remission, drug arm", lambda: _drug().median or 0, 23, 0, "a whole number of weeks", FREIREICH,
         "closed form", unit="weeks"),
    _row("Kaplan-Meier survival at 8 weeks, placebo arm", lambda: _placebo().at(8, 1.0), 8 / 21, 1e-12, "a fraction",
         FREIREICH, "read in the source"),
    _row("Greenwood error at 8 weeks, placebo arm", lambda: _placebo().error[_placebo().times.index(8.0)], 0.106, 5e-4,
         DIGITS3, FREIREICH, "read in a summary"),
    _row("log-rank chi square", lambda: _rank().chi2, 16.793, 5e-4, DIGITS3, FREIREICH, "closed form", "both arms, 1 df"),
    _row("log-rank expected events, drug arm", lambda: _rank().expected, 19.251, 5e-4, DIGITS3, FREIREICH,
         "closed form", "9 observed"),
    _row("log-rank variance", lambda: _rank().variance, 6.257, 5e-4, DIGITS3, FREIREICH, "closed form"),
    _row("Cox log hazard ratio, ties after Efron", lambda: _cox().hazards[0].log, 1.572, 5e-4, DIGITS3, FREIREICH,
         "from memory", "placebo against drug; reanalysed in many textbooks"),
    _row("Aalen-Johansen incidence is one less survival when one cause acts",
         lambda: aalen_johansen(*_pair(DRUG)).at(23, 0.0), 1 - 0.4482, 5e-5, DIGITS4, FREIREICH, "closed form"),
    *[
        _row(
            f"Wilson {end} end of {k}/{n}{', corrected' if corrected else ''}",
            lambda k=k, n=n, c=corrected, e=end: getattr(wilson(k, n, corrected=c), e), value, 5e-5, DIGITS4,  # type: ignore[misc]
            NEWCOMBE, "from memory", "95 %",
        )
        for k, n, corrected, low, high in WILSON
        for end, value in (("low", low), ("high", high))
    ],
    _row("Wilson low end of 5/10", lambda: wilson(5, 10).low, 0.2366, 5e-5, DIGITS4, NEWCOMBE, "closed form"),
    *[
        _row(
            f"Cohen's kappa of {table}", lambda t=table: kappa_of(t).value, value, 5e-5, DIGITS4,  # type: ignore[misc]
            "Cohen 1960, Educ Psychol Meas 20:37-46 (common worked example)", "from memory",
        )
        for table, value in KAPPAS
    ],
    _row("odds ratio, success within 2 mm against short", lambda: odds_ratio(75, 5, 11, 6).value, 75 * 6 / (5 * 11),
         1e-12, "a fraction", "University of Otago conference abstract 2014 (counts rebuilt)", "closed form"),
    _row("recall share, Toronto phase 3", lambda: wilson(132 + 10, 532 - 248).value, 0.50, 0.005,
         "the source gives whole percent", "Marquis et al. 2006, J Endod", "read in an abstract", "142 of 284"),
    _row("success, Toronto phase 4", lambda: wilson(439, 510).value, 0.86, 0.005, "the source gives whole percent",
         "de Chevigny et al. 2008, J Endod 34:258-263", "read in an abstract", "439 of 510"),
    _row("first recall by the guideline", lambda: (GUIDELINE.due_dates(date(2024, 3, 1))[0] - date(2024, 3, 1)).days, 365,
         1, "a year has 365 or 366 days", "European Society of Endodontology 2006, Int Endod J 39:921-930", "from memory",
         unit="days"),
    _row("last recall by the guideline", lambda: (GUIDELINE.due_dates(date(2024, 3, 1))[1] - date(2024, 3, 1)).days, 1461,
         1, "four years have 1461 days", "European Society of Endodontology 2006, Int Endod J 39:921-930", "from memory",
         unit="days"),
    *[
        _row(
            f"periapical index {grade} counts as success", lambda g=grade: float(_strict(g)), float(grade <= 2), 0,  # type: ignore[misc]
            "yes or no", "Trope, Delano & Ørstavik 1999, J Endod 25(5)", "read in an abstract", "no sign, no symptom",
        )
        for grade in (1, 2, 3, 4, 5)
    ],
    *[
        _row(
            f"code by time at {second} s", lambda s=second: float(_code(s)), float(code), 0, "six digits",  # type: ignore[misc]
            "RFC 6238, appendix B (SHA-1, last six of eight digits)", "from memory",
        )
        for second, code in OTP
    ],
    _row("canonical JSON of a sorted object", lambda: float(canonical({"b": 1, "a": "é"}) == '{"a":"é","b":1}'.encode()),
         1, 0, "equal or not", "RFC 8785 (for texts and whole numbers)", "from memory"),
]  # fmt: skip


def _strict(grade: int) -> bool:
    return judge(Visit(date(2025, 1, 1), index={"m": {"a": grade}}), date(2024, 1, 1)).strict is True


def _code(second: int) -> str:
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890", the key of the standard's table
    return pyotp.TOTP(secret).at(datetime.fromtimestamp(second, UTC))


def _high_end(good_a: float, good_b: float, low: float, total: int) -> float:
    """Upper end of the interval, for the group sizes whose lower end comes nearest to the published one."""
    found = []
    for first in range(20, total - 20):
        a, c = round(good_a * first), round(good_b * (total - first))
        ratio = odds_ratio(a, first - a, c, total - first - c)
        found.append((abs(ratio.low - low), ratio.high))
    return min(found)[1]


TORONTO = [
    ("lesion absent or present, phase 3", 0.93, 0.80, (1.7, 7.2), 373, "Marquis et al. 2006, J Endod"),
    ("lesion absent or present, phase 4", 0.93, 0.82, (1.56, 5.24), 510, "de Chevigny et al. 2008, J Endod 34:258-263"),
    ("one root or more, phase 4", 0.93, 0.84, (1.25, 5.13), 510, "de Chevigny et al. 2008, J Endod 34:258-263"),
]
CHECKS += [
    _row(
        f"odds ratio, upper end of the interval: {name}", lambda a=a, b=b, i=i, n=n: _high_end(a, b, i[0], n), i[1],  # type: ignore[misc]
        0.15 * i[1], "shares are printed in whole percent: half a percent moves this end by up to 15 %",
        source, "read in an abstract", "group sizes are not printed: chosen so that the lower end fits",
    )
    for name, a, b, i, n, source in TORONTO
]  # fmt: skip
