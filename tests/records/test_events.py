"""Protects: what was recorded stays as it was, in order, by whom and when, on either kind of database."""

from datetime import timedelta

import pytest
from sqlalchemy import delete, text, update

from canalwright.records import Kind, Store
from canalwright.records.errors import BadEntry, NotFound, StoreDamaged
from canalwright.records.schema import event
from tests.records.conftest import NOW, Clock


def test_event_keeps_author_time_and_content(store: Store, case: str) -> None:
    seq = store.cases.record(case, Kind.NOTE, {"text": "calm: ü, 象, 0.1"}, "bob")
    found = store.cases.events(case)[-1]
    assert (found.seq, found.author, found.time, found.kind) == (seq, "bob", NOW, Kind.NOTE)
    assert found.payload == {"text": "calm: ü, 象, 0.1"}
    assert found.behind == 0


def test_database_refuses_to_rewrite(store: Store, case: str) -> None:
    """Neither an UPDATE nor a DELETE on events goes through, even past our own code."""
    for statement in (update(event).values(author="eve"), delete(event)):
        with pytest.raises(BadEntry, match="only grows"), store.vault.writing() as connection:
            connection.execute(statement)
    assert store.cases.events(case)[0].author == "ann"


def test_clock_set_back_is_seen_and_order_kept(store: Store, case: str, clock: Clock) -> None:
    clock.now -= timedelta(hours=2)
    store.cases.record(case, Kind.NOTE, {"text": "late"}, "ann")
    clock.now += timedelta(hours=3)
    store.cases.record(case, Kind.NOTE, {"text": "later"}, "ann")
    first, back, after = store.cases.events(case)
    assert first.seq < back.seq < after.seq
    assert (first.behind, back.behind, after.behind) == (0, 7200, 0)
    store.verify()


def test_correction_shows_now_and_before(store: Store, case: str) -> None:
    seq = store.cases.record(case, Kind.MEASUREMENT, {"length_mm": 12.0}, "ann")
    store.cases.correct(seq, {"length_mm": 21.0}, "digits swapped", "bob")
    assert [e.payload for e in store.cases.events(case) if e.seq == seq] == [{"length_mm": 12.0}]
    assert [e.payload for e in store.cases.now(case) if e.seq == seq] == [{"length_mm": 21.0}]
    store.cases.correct(seq, None, "wrong tooth", "bob")
    assert seq not in [e.seq for e in store.cases.now(case)]


@pytest.mark.parametrize(
    ("kind", "payload", "says"),
    [
        (Kind.NOTE, {}, "empty"),
        (Kind.NOTE, {"x": float("nan")}, "JSON"),
        (Kind.NOTE, {"x": {1, 2}}, "JSON"),
        (Kind.NOTE, {"x": "y" * 9_000_000}, "over the limit"),
        (Kind.CHECK, {"on": "25.11.2026"}, "no date"),
        (Kind.RECALL, {"on": "2026-11-25", "signs": ["hiccup"]}, "hiccup"),
        (Kind.RECALL, {"on": "2026-11-25", "index": {"m": {"ann": 6}}}, "1 .* to 5"),
        (Kind.RECALL, {"on": "2026-11-25", "colour": 1}, "colour"),
        (Kind.SCHEDULE, {"months": [12, 6]}, "rising"),
        (Kind.ERASE, {"x": 1}, "by hand"),
    ],
)
def test_bad_entry_is_refused_whole(store: Store, case: str, kind: Kind, payload: dict[str, object], says: str) -> None:
    """One bad entry of several: none is kept, and the message says what is wrong."""
    before = store.head
    with pytest.raises(BadEntry, match=says):
        store.cases.record_all([(case, Kind.NOTE, {"text": "good"}), (case, kind, payload)], "ann")
    assert store.head == before


def test_case_needs_a_real_tooth_and_a_known_patient(store: Store) -> None:
    with pytest.raises(BadEntry, match="ISO 3950"):
        store.cases.open(store.patients.add("ann"), {"tooth": 99}, "ann")
    with pytest.raises(NotFound, match="P-XXXX"):
        store.cases.open("P-XXXXX-XXXXX", {"tooth": 11}, "ann")


def test_any_earlier_plan_is_shown_as_it_was(store: Store, case: str) -> None:
    first = store.plans.record(case, "mesial", {"cone": "a"}, "ann")
    second = store.plans.record(case, "mesial", {"cone": "b"}, "ann")
    store.plans.record(case, "distal", {"cone": "c"}, "ann")
    store.cases.correct(second, {"canal": "mesial", "plan": {"cone": "B"}}, "slip", "ann")
    assert store.plans.at(case, "mesial", first).content == {"cone": "a"}
    assert store.plans.at(case, "mesial", second).content == {"cone": "b"}
    assert store.plans.current(case, "mesial").content == {"cone": "B"}
    assert [p.content["cone"] for p in store.plans.all(case)] == ["a", "b", "c"]
    with pytest.raises(NotFound, match="had no plan"):
        store.plans.at(case, "palatal", None)


@pytest.mark.parametrize(
    "change", ["author = 'eve'", "time = '2020-01-01T00:00:00.000000Z'", "kind = 'check'", "behind = 5"]
)
def test_tampering_shows(store: Store, case: str, change: str) -> None:
    """Somebody with the open database switches the triggers off and changes a row: `verify` names it."""
    store.cases.record(case, Kind.NOTE, {"text": "x"}, "ann")
    _tamper(store, f"UPDATE event SET {change} WHERE seq = 1")
    with pytest.raises(StoreDamaged, match="row 1 "):
        store.verify()


@pytest.mark.parametrize(("statement", "says"), [("seq = 1", "row 1 is missing"), ("seq = 3", "cut off")])
def test_removal_shows(store: Store, case: str, statement: str, says: str) -> None:
    for word in ("x", "y"):
        store.cases.record(case, Kind.NOTE, {"text": word}, "ann")
    _tamper(store, f"DELETE FROM event WHERE {statement}")
    with pytest.raises(StoreDamaged, match=says):
        store.verify()


def test_old_copy_put_back_shows_against_a_head_kept_elsewhere(store: Store, case: str) -> None:
    head = store.head
    store.cases.record(case, Kind.NOTE, {"text": "x"}, "ann")
    later = store.head
    store.verify([head, later])
    _tamper(store, "DELETE FROM event WHERE seq = 2")
    with store.vault.writing() as connection:
        connection.execute(text("UPDATE head SET seq = 1, hash = :hash"), {"hash": bytes.fromhex(head.hash)})
    store.verify()
    with pytest.raises(StoreDamaged, match="row 2 is in a backup"):
        store.verify([later])


def _tamper(store: Store, statement: str) -> None:
    with store.vault.writing() as connection:
        if store.vault.engine.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER event_no_update")
            connection.exec_driver_sql("DROP TRIGGER event_no_delete")
        else:
            connection.exec_driver_sql("ALTER TABLE event DISABLE TRIGGER USER")
        connection.exec_driver_sql(statement)
