"""Protects: what we compute agrees with what others published, and known misses stay on the page."""

import json

import pytest

from tests.evidence.build import PAGE, ROWS
from tests.evidence.collect import all_checks
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
