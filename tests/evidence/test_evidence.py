"""Protects: what we compute agrees with what others published, and known misses stay on the page."""

import importlib
import json
import re

import pytest

from tests.evidence.build import FIGURES, HOUSE, PAGE, ROWS
from tests.evidence.collect import all_checks, by_module
from tests.evidence.figure import place
from tests.evidence.table import Check

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=[f"{c.room}: {c.name}" for c in CHECKS])
def test_check(check: Check) -> None:
    if check.miss:
        assert not check.holds, f"no longer a miss ({check.value} against {check.theirs}): take the reason away"
    else:
        assert check.holds, f"{check.value} {check.unit} against {check.theirs} ± {check.tolerance} ({check.source})"


def test_names_are_unique() -> None:
    names = [(c.room, c.name) for c in CHECKS]
    assert len(set(names)) == len(names)


def test_no_source_both_calibrates_and_checks() -> None:
    """A figure that set a parameter may not judge the model as well."""
    calibration = {(c.source, c.name) for c in CHECKS if c.role == "calibration"}
    assert not calibration & {(c.source, c.name) for c in CHECKS if c.role == "check"}


def test_the_page_lists_every_row() -> None:
    """`docs/evidence.md` is built from these rows: none may be missing on it (rows on real data need the data at hand)."""
    page, shown = (
        PAGE.read_text(encoding="utf-8"),
        {row["name"] for row in json.loads(ROWS.read_text(encoding="utf-8"))},
    )
    missing = [c.name for c in CHECKS if f"| {c.name}" not in page or c.name not in shown]
    assert not missing, f"rebuild the page with `make evidence`; missing: {missing[:5]}"


def test_every_module_has_its_figure_on_a_page_with_all_its_rows() -> None:
    pages = "".join(p.read_text(encoding="utf-8") for p in (HOUSE / "docs").rglob("*.md"))
    for name, checks in by_module().items():
        drawn = (FIGURES / f"{name}.svg").read_text(encoding="utf-8")
        assert f"checks/{name}.svg)" in pages, f"no page shows the figure of {name}"
        told = re.search(r"(\d+) rows, (\d+) missed", drawn)
        rows, missed = (int(n) for n in told.groups()) if told else (0, 0)
        have = len(checks), sum(bool(c.miss) for c in checks)
        lacks = getattr(importlib.import_module(f"tests.evidence.evidence_{name}"), "LACKS", [])
        whole = (rows > have[0] and missed >= have[1]) if lacks else (rows, missed) == have
        assert whole, f"draw it anew with `make evidence`: {name}"


@pytest.mark.parametrize(
    ("value", "theirs", "tolerance", "where"),
    [(5.0, 5.0, 0.0, 0.0), (5.1, 5.0, 0.0, float("inf")), (4.0, 5.0, 0.5, -2.0), (2.0, (1.0, 3.0), 0.0, 0.0), (3.5, (1.0, 3.0), 0.5, 1.0)],
)  # fmt: skip
def test_a_figure_puts_a_value_within_one_where_its_row_holds_and_beyond_where_it_does_not(
    value: float, theirs: float | tuple[float, float], tolerance: float, where: float
) -> None:
    check = Check("room", "name", lambda: value, theirs, tolerance, "why", "mm", "source", "closed form")
    assert place(check) == pytest.approx(where)
    assert check.holds == (abs(place(check)) <= 1)
