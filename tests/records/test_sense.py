"""Protects: what cannot have happened is refused in one line whatever the way in, and what stands wrong from before blocks nothing."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from canalwright import casefile
from canalwright.records import Identity, Kind, Store
from canalwright.records.errors import BadEntry
from canalwright.records.sense import impossible, refuse_new
from tests.records.conftest import CHEAP, OTHER, Clock


@pytest.fixture
def case(lone: Store) -> str:
    """A case with the demo's measurement (its canals are at most 24 mm long), of a patient born in 1970."""
    name = lone.cases.open(lone.patients.add("ann", Identity("Ada", "1970-02-03")), {"tooth": 46}, "ann")
    lone.cases.record(name, Kind.MEASUREMENT, {"case_file": casefile.dumps(casefile.demo_case())}, "ann")
    return name


@pytest.mark.parametrize(
    ("kind", "payload", "says"),
    [
        (Kind.CHECK, {"on": "2027-11-26", "short_mm": 0.5}, "the filling of 2027-11-26 lies in the future: today is 2026-11-25"),
        (Kind.CHAIR, {"on": "2026-11-27", "finished": True}, "the session of 2026-11-27 lies in the future"),
        (Kind.CHECK, {"on": "1969-12-31"}, "lies before the date of birth"),
        (Kind.CHECK, {"on": "0026-11-25"}, "lies before the date of birth"),
        (Kind.RECALL, {"on": "2026-12-24"}, "the recall of 2026-12-24 lies in the future"),
        (Kind.CHECK, {"on": "2026-11-20", "short_mm": 50}, r"50 mm short of the terminus: the canal is 2\d(\.\d+)? mm long"),
        (Kind.CHECK, {"on": "2026-11-20", "short_mm": -7.5}, "7.5 mm beyond the terminus: up to 5 mm is taken"),
        (Kind.CHECK, {"on": "2026-11-20", "void_percent": 101}, "voids of 101 %"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_whole(
    lone: Store, case: str, kind: Kind, payload: dict[str, object], says: str
) -> None:
    before = len(lone.cases.events(case))
    with pytest.raises(BadEntry, match=says):
        lone.cases.record(case, kind, payload, "ann")
    good = lone.cases.record(case, Kind.CHECK, {"on": "2026-11-26", "short_mm": 19, "void_percent": 0}, "ann")
    with pytest.raises(BadEntry, match=says if kind is Kind.CHECK else "future"):
        lone.cases.correct(good, payload if kind is Kind.CHECK else {"on": "2030-01-01"}, "slip", "ann")
    assert len(lone.cases.events(case)) == before + 1


def test_recall_and_birth_fit_the_filling(lone: Store, case: str) -> None:
    lone.cases.record(case, Kind.CHECK, {"on": "2025-05-02"}, "ann")
    with pytest.raises(BadEntry, match="the recall of 2025-05-01 lies before the filling of 2025-05-02"):
        lone.cases.record(case, Kind.RECALL, {"on": "2025-05-01"}, "ann")
    lone.cases.record(case, Kind.RECALL, {"on": "2025-05-02"}, "ann")
    owner = lone.cases.view(case).patient
    for born in ("2027-01-01", "1570-02-03", "2025-05-03"):
        with pytest.raises(BadEntry, match="birth"):
            lone.patients.identify(owner, Identity("Ada", born), "ann")
    assert lone.patients.identity(owner).born == "1970-02-03"


def test_archive_that_holds_it_is_refused(lone: Store, case: str, tmp_path: Path, clock: Clock) -> None:
    clock.forward(days=400)
    lone.cases.record(case, Kind.CHECK, {"on": clock().date().isoformat()}, "ann")
    lone.transfer.write_case(case, tmp_path / "a.zip", "ann")
    with Store.create(tmp_path / "other", OTHER, cost=CHEAP, clock=Clock()) as other:
        with pytest.raises(BadEntry, match=r"this archive holds what cannot be: the filling of .* lies in the future"):
            other.transfer.read_case(tmp_path / "a.zip", "bea")
        assert other.cases.page().total == 0


def test_what_stood_wrong_before_blocks_nothing_else(lone: Store, case: str) -> None:
    lone.cases.record(case, Kind.CHECK, {"on": "2026-11-20"}, "ann")
    now, today = lone.cases.now(case), date(2020, 1, 1)
    assert impossible(now, today, None)
    later = replace(now[-1], seq=now[-1].seq + 1, kind=Kind.RECALL, payload={"on": "2026-11-21"})
    refuse_new(now, now, today, None)
    with pytest.raises(BadEntry, match="recall"):
        refuse_new(now, [*now, later], today, None)
