"""Assessment of fillings: published criteria and agreement, teeth with known fillings (the stored study), closed forms."""

from typing import Any

import numpy as np
from scipy.stats import t as student

from canalwright import casefile
from canalwright.assessment import criteria, habits, restoration
from canalwright.quantities import Quantity
from canalwright.records.outcomes.agreement import kappa_of
from tests.assessment.study import stored
from tests.evidence.table import Check

LIANG = "Liang et al. 2012, Clin Oral Investig 16:1619-1626"
OURS = "own study: invented teeth, tests/assessment/study.json"
FILMS = "40 films of invented teeth: cone-beam geometry, scatter, noise, marks off by 1.5 pixels, scale by 1 %"
MICRO = "20 voids of 0.1-0.4 mm in 4 fillings, voxel 0.06 mm"
CONE = "20 voids of 0.1-0.4 mm in 4 fillings, voxel 0.15 mm, blooming and dark bands"


WIRES = "Huybrechts et al. 2009, Int Endod J 42:675-685: channels of 0.2-0.8 mm left by wires in sealer, seen by people"
"""Their sizes were read in the abstract; that all of 0.5 and 0.8 mm and fewer than half of 0.2 mm were seen is from memory."""


def _films() -> list[dict[str, Any]]:
    return [row for row in stored()["films"] if "found" in row]


def _scans(kind: str) -> list[dict[str, Any]]:
    return [row for row in stored()["scans"] if row["kind"] == kind]


def _voids(kind: str, least: float = 0.0) -> list[dict[str, Any]]:
    return [v for row in _scans(kind) for v in row["voids"] if v["size"] >= least]


def _within() -> float:
    rows = stored()["films"]
    return sum("found" in r and abs(r["found"] - r["short"]) <= 0.2 for r in rows) / len(rows)


def _covered() -> float:
    return float(np.mean([r["low"] <= r["short"] <= r["high"] for r in _films()]))


def table() -> np.ndarray:
    """Truth against grade, adequate first."""
    counts = np.zeros((2, 2))
    for r in _films():
        counts[int(not r["good"]), int(r["chance"] < 0.5)] += 1
    return counts


def _kappa() -> float:
    return kappa_of(table()).value


def _agreement() -> float:
    return kappa_of(table()).agreement


def _found(kind: str, least: float = 0.0) -> float:
    rows = _voids(kind, least)
    return sum(v["found"] is not None for v in rows) / len(rows)


def _bubbles(low: float, high: float) -> float:
    """Share of the voids of such a diameter on the films that the check found, within half a millimetre of their place."""
    rows = [(place, row) for row in _films() for place, size in row["bubbles"] if low <= size <= high]
    return sum(any(abs(at - place) <= 0.5 for at, _ in row["voids"]) for place, row in rows) / len(rows)


def _ratio() -> float:
    return float(np.median([v["found"][0] / v["true"] for v in _voids("micro-CT", 0.2) if v["found"]]))


def _void_cover() -> float:
    rows = [v for v in _voids("micro-CT") if v["found"]]
    return sum(v["found"][1] <= v["true"] <= v["found"][2] for v in rows) / len(rows)


def _edges() -> float:
    inside = [
        criteria.chance_within(Quantity(v, v - 1e-5, v + 1e-5, "mm"), 0.0, 2.0).value for v in (0.001, 1.999, 2.1, -0.1)
    ]
    return sum(a > 0.5 for a in inside[:2]) + sum(a < 0.5 for a in inside[2:])


def _post_rules() -> float:
    told = [restoration.restoration(casefile.demo_case().canals[2], 0.5, ferrule=h).told for h in (1.4, 1.5, 2.0)]
    holds = [next(t.holds for t in rules if t.rule == "ferrule") for rules in told]
    return float(holds == [False, None, True])


def _least_left() -> float:
    posts = restoration.restoration(casefile.demo_case().canals[2], 0.5).posts
    return min(p.left.value for p in posts if p.works)


def _sequential() -> float:
    """One by one against the whole lot at once: m, k, a, b of the normal-inverse-gamma law in closed form."""
    x = np.random.default_rng(2).normal(0.2, 0.3, 25)
    (found,) = habits.learned([[("end", float(v))] for v in x])
    k0, a0, b0, n = (
        habits.PRIOR_CASES,
        habits.PRIOR_WEIGHT,
        habits.PRIOR_SPREAD["end"] ** 2 * habits.PRIOR_WEIGHT,
        len(x),
    )
    mean = n * x.mean() / (k0 + n)
    b = b0 + ((x - x.mean()) ** 2).sum() / 2 + k0 * n * x.mean() ** 2 / (2 * (k0 + n))
    half = student.ppf(0.95, 2 * (a0 + n / 2)) * np.sqrt(b / ((a0 + n / 2) * (k0 + n)))
    return float(max(abs(found.mean - mean), abs(found.centre.high - (mean + half))))


CHECKS = [
    Check(
        "assessment", "films whose length is read within 0.2 mm", _within, (0.95, 1.0), 0.0, "our own aim", "share", OURS,
        "closed form", FILMS,
    ),
    Check(
        "assessment", "films whose true length lies in the 90 % interval", _covered, (0.80, 1.0), 0.0,
        "90 % of 40, give or take two standard errors", "share", OURS, "closed form", FILMS,
    ),
    Check(
        "assessment", "kappa of the grade against the truth", _kappa, (0.81, 1.0), 0.0, "almost perfect by the source's words", "",
        "Landis & Koch 1977, Biometrics 33:159-174", "from memory", FILMS,
    ),
    Check(
        "assessment", "films graded as the truth, against pairs of examiners who agree", _agreement, (0.57, 1.0), 0.0,
        "no worse than two people", "share", "Lambrianidis 1985: pairs agree on the seal in 57 %, nine observers in 41 % of 160 canals",
        "read in an abstract", FILMS,
    ),
    Check(
        "assessment", "edges of the band 0-2 mm that count right", _edges, 4.0, 0.0, "a count", "edges", LIANG, "read in an abstract",
        "0.0 and 2.0 in, 2.1 and -0.1 out",
    ),
    Check(
        "assessment", "voids of 0.2 mm or more seen by micro-CT", lambda: _found("micro-CT", 0.2), (0.9, 1.0), 0.0,
        "smallest visible void about 0.1 mm", "share", OURS, "closed form", MICRO,
    ),
    Check(
        "assessment", "volume of such voids over the true one, median", _ratio, 1.0, 0.2, "a fifth of a volume is 7 % of a diameter", "",
        OURS, "closed form", MICRO,
    ),
    Check(
        "assessment", "voids whose true volume lies in the 90 % interval", _void_cover, (0.75, 1.0), 0.0, "about 16 voids", "share", OURS,
        "closed form", MICRO,
    ),
    Check(
        "assessment", "smallest void that a film is said to show, median", lambda: float(np.median([r["smallest"] for r in _films()])),
        (0.2, 0.5), 0.0, "seen in fewer than half at one end, in all at the other", "mm", WIRES, "from memory",
        f"{FILMS}; round bubbles, which show less than channels",
    ),
    Check(
        "assessment", "voids of 0.15-0.22 mm found on films", lambda: _bubbles(0.15, 0.22), (0.0, 0.5), 0.0, "fewer than half", "share",
        WIRES, "from memory", f"{FILMS}; the range of sizes set after they were seen",
    ),
    Check(
        "assessment", "voids of 0.45-0.5 mm found on films", lambda: _bubbles(0.45, 0.5), 1.0, 0.0, "all", "share", WIRES, "from memory",
        f"{FILMS}; the range of sizes set after they were seen",
    ),
    Check(
        "assessment", "voids of a filling that a cone-beam scan shows", lambda: _found("cone-beam scan"), (0.19, 0.30), 0.3,
        "sizes of their voids are not told", "share", "PMC5595040: sensitivity 0.24 (0.19-0.30) against photographs of 323 roots",
        "read in an abstract", CONE,
    ),
    Check(
        "assessment", "filling on a cone-beam scan over its true width",
        lambda: float(np.mean([r["wide"] for r in _scans("cone-beam scan")])), (1.09, 2.0), 0.0, "the band of the source", "",
        "PMC3894773: fillings measure 9 % to 100 % more on scans than on the roots", "read in an abstract", CONE,
    ),
    Check(
        "assessment", "void share found, coarse voxel over fine", lambda: _found("cone-beam scan") / _found("micro-CT"), (0.0, 0.9), 0.0,
        "the source gives the order: 30 microns find less than 15", "",
        "IADR 2012 conference abstract: 1.25 against 1.83 %, 5.59 against 6.25 %", "read in an abstract", "0.15 against 0.06 mm",
    ),
    Check(
        "assessment", "greatest error of the end by micro-CT", lambda: max(abs(r["end"][0] - 0.5) for r in _scans("micro-CT")), 0.0, 0.1,
        "a voxel and a half", "mm", OURS, "closed form", MICRO,
    ),
    Check(
        "assessment", "least filling left below a post that is offered", _least_left, (4.0, 20.0), 0.0, "the source's least", "mm",
        "Ricketts, Tait & Higgins 2005, Br Dent J 198:463-471", "read in the source", "distal canal of the invented molar",
    ),
    Check(
        "assessment", "ferrule of 1.4, 1.5, 2.0 mm: fails, warns, passes", _post_rules, 1.0, 0.0, "a count", "", "textbooks: 1.5-2 mm",
        "from memory",
    ),
    Check(
        "assessment", "habits learned one by one against all at once", _sequential, 0.0, 1e-9, "the same law", "mm",
        "Gelman et al. 2013, Bayesian Data Analysis, ch. 3.3", "closed form", "25 residuals",
    ),
]  # fmt: skip
