"""The second reader of a film sees nothing of the first reading until both are in: not as event, correction, outcome or hand-over."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from canalwright.records import Kind, Store
from canalwright.records.accounts import AccessLog, Role, SignIn, Users
from canalwright.records.blind import awaiting, masked, to_read
from canalwright.records.desk import Desk
from canalwright.records.errors import BadEntry
from tests.records.conftest import CHEAP, GOOD, NOW, SECRET

RECALL = {"on": "2026-11-20", "index": {"mesial": {"ann": 4}, "distal": {"ann": 2}}, "lesion": "larger", "blind": True}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.create(tmp_path / "home", SECRET, cost=CHEAP, clock=lambda: NOW) as made:
        yield made


def _desks(store: Store) -> tuple[Desk, Desk]:
    users = Users(store.vault, AccessLog(store.vault), CHEAP)
    users.first("ann", GOOD)
    users.add("bea", Role.CLINICIAN, GOOD, "ann")
    users.set_password("bea", GOOD)
    door = SignIn(users)
    made = tuple(Desk(store, door, door.sign_in(name, GOOD, "", "here")) for name in ("ann", "bea"))
    return made[0], made[1]


def _case(store: Store) -> tuple[str, int]:
    case = store.cases.open(store.patients.add("ann"), {"tooth": 46, "index_before": 3}, "ann")
    store.cases.record(case, Kind.CHECK, {"on": "2025-01-10"}, "ann")
    return case, store.cases.record(case, Kind.RECALL, RECALL, "ann")


def test_second_reader_sees_no_grade_until_both_are_in(store: Store) -> None:
    case, seq = _case(store)
    store.cases.correct(seq, {**RECALL, "note": "said again"}, "a word", "ann")
    ann, bea = _desks(store)
    assert store.cases.view(case).outcome == "awaiting the second reader"
    for events in (bea.case(case)[1], bea.history(case), bea.hand_over(case, {"what": "casebook"})[1]):
        told = json.dumps([e.payload for e in events])
        assert '"ann": 4' not in told
        assert "larger" not in told
    assert [e.seq for e in bea.case(case)[1] if to_read(e)] == [seq]
    assert '"ann": 4' in json.dumps([e.payload for e in ann.case(case)[1]])
    assert not any(to_read(e) for e in ann.case(case)[1])
    bea.read_second(case, seq, {"mesial": 3, "distal": 2})
    for desk in (ann, bea):
        recall = next(e for e in desk.case(case)[1] if e.kind is Kind.RECALL)
        assert recall.field("index") == {"mesial": {"ann": 4, "bea": 3}, "distal": {"ann": 2, "bea": 2}}
        assert recall.field("note") == "said again"
    assert store.cases.view(case).outcome == "not healed"
    store.verify()


def test_two_readers_are_two_persons_and_grade_every_root(store: Store) -> None:
    case, seq = _case(store)
    ann, bea = _desks(store)
    for desk, grades, said in (
        (ann, {"mesial": 3, "distal": 2}, "the first reading is yours"),
        (bea, {"mesial": 3}, "grade every root: distal, mesial"),
        (bea, {"mesial": 9, "distal": 2}, "whole number from 1"),
    ):
        with pytest.raises(BadEntry, match=said):
            desk.read_second(case, seq, grades)
    bea.read_second(case, seq, {"mesial": 4, "distal": 2})
    with pytest.raises(BadEntry, match="awaits no second reading"):
        bea.read_second(case, seq, {"mesial": 4, "distal": 2})


def test_other_recalls_are_as_they_were(store: Store) -> None:
    case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
    open_ = {k: v for k, v in RECALL.items() if k != "blind"}
    store.cases.record(case, Kind.RECALL, open_, "ann")
    events = store.cases.events(case)
    assert awaiting(events) == {}
    assert masked(events, "bea") == events
    with pytest.raises(BadEntry, match="needs a first one"):
        store.cases.record(case, Kind.RECALL, {"on": "2026-11-20", "blind": True}, "ann")
