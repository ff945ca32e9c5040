"""Protects: records are kept as long as the rule says, for the young and for disputes longer, and no longer."""

from datetime import date

import pytest

from canalwright.records import Identity, Store
from canalwright.records.errors import BadEntry, Erased
from canalwright.records.retention import Retention, erase_expired, expired
from tests.records.conftest import Clock


def test_who_is_past_the_rule(store: Store, clock: Clock) -> None:
    old = store.patients.add("ann", Identity("Old", "1950-01-01"))
    young = store.patients.add("ann", Identity("Young", "2024-01-01"))
    disputed = store.patients.add("ann", Identity("Disputed", "1950-01-01"))
    store.patients.hold(disputed, True, "a dispute", "ann")
    clock.forward(days=365 * 9)
    recent = store.patients.add("ann", Identity("Recent", "1950-01-01"))
    clock.forward(days=380)
    today = clock().date()
    rule = Retention(years=10, until_age=25)
    assert [e.patient for e in expired(store.patients, rule, today)] == [old]
    assert {e.patient for e in expired(store.patients, Retention(10), today)} == {old, young}
    assert [e.patient for e in erase_expired(store.patients, rule, today, "ann")] == [old]
    assert expired(store.patients, rule, today) == []
    with pytest.raises(Erased):
        store.patients.identity(old)
    for kept in (young, disputed, recent):
        store.patients.identity(kept)
    assert [e.patient for e in expired(store.patients, rule, date(2049, 1, 1))] == [recent, young]
    store.patients.hold(disputed, False, "settled", "ann")
    assert disputed in [e.patient for e in expired(store.patients, rule, date(2049, 1, 1))]


def test_rule_must_make_sense() -> None:
    with pytest.raises(BadEntry):
        Retention(years=0)
