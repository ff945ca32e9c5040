"""Protects: a backup brings everything back, a damaged one nothing, and the rotation never takes the last good one."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.records import Identity, Kind, Store, restore
from canalwright.records.errors import (
    ArchiveDamaged,
    BadEntry,
    Erased,
    NotFound,
    StoreDamaged,
    StoreExists,
    StoreMissing,
    StoreTooNew,
    WrongPassphrase,
)
from canalwright.records.rotation import Keep, Kept, to_delete
from tests.records.conftest import OTHER, SECRET, Clock
from tests.support.postgres import Server

FILM = b"\xff\xd8\xff" + bytes(range(256)) * 6000


def _filled(store: Store) -> tuple[str, str]:
    patient = store.patients.add("ann", Identity("Ada"))
    case = store.cases.open(patient, {"tooth": 46}, "ann")
    store.images.attach(case, FILM, "film", "ann")
    return patient, case


def test_backup_brings_everything_back(store: Store, tmp_path: Path) -> None:
    """From either database into a file: events, names, images, views."""
    patient, case = _filled(store)
    backup = store.backups.make()
    assert store.backups.check(backup.path).head == store.head
    assert restore(backup.path, tmp_path / "new", SECRET) is None
    with Store.open(tmp_path / "new", SECRET) as again:
        assert again.patients.identity(patient).name == "Ada"
        assert again.cases.view(case) == store.cases.view(case)
        image = store.cases.events(case)[-1].field("image")
        assert again.images.get(str(image)).content == FILM
        assert again.verify([store.head]).seq == store.head.seq + 1


def test_file_goes_to_the_server(lone: Store, postgres: Server, tmp_path: Path) -> None:
    patient, case = _filled(lone)
    backup = lone.backups.make()
    url = postgres.new_database()
    restore(backup.path, tmp_path / "served", SECRET, url=url)
    with Store.open(tmp_path / "served", SECRET, url=url) as served:
        served.verify([lone.head])
        served.cases.record(case, Kind.NOTE, {"text": "on the server"}, "ann")
        assert served.patients.find("ada") == [patient]
    with pytest.raises(StoreExists, match="name an empty one"):
        restore(backup.path, tmp_path / "twice", SECRET, url=url)
    assert not (tmp_path / "twice").exists()


def test_restore_moves_the_present_records_aside(lone: Store, home: Path, clock: Clock) -> None:
    _, case = _filled(lone)
    backup = lone.backups.make()
    lone.cases.record(case, Kind.NOTE, {"text": "after"}, "ann")
    clock.forward(hours=1)
    later = lone.backups.make()
    lone.close()
    aside = restore(backup.path, home, SECRET, clock=clock)
    assert aside is not None and (aside / "backups" / later.path.name).exists()
    home.rename(home.with_name("elsewhere"))
    with pytest.raises(StoreMissing, match="cut off"):
        Store.open(home, SECRET)
    home.with_name("elsewhere").rename(home)
    with Store.open(home, SECRET) as now, Store.open(aside, SECRET) as before:
        assert [e.kind for e in now.cases.events(case)] == [Kind.CASE, Kind.IMAGE]
        assert before.cases.events(case)[-1].field("text") == "after"
        now.verify()
        before.verify()


def test_erased_person_does_not_come_back(lone: Store, home: Path) -> None:
    patient, _ = _filled(lone)
    backup = lone.backups.make()
    lone.patients.erase(patient, "asked", "ann")
    lone.close()
    restore(backup.path, home, SECRET)
    with Store.open(home, SECRET) as now, pytest.raises(Erased):
        now.patients.identity(patient)


def test_renew_leaves_no_older_copy(lone: Store, clock: Clock) -> None:
    patient, _ = _filled(lone)
    lone.backups.make("before-trial")
    clock.forward(days=1)
    lone.patients.erase(patient, "asked", "ann")
    fresh = lone.backups.renew()
    assert [b.path for b in lone.backups.all()] == [fresh.path]


def test_damaged_backup_changes_nothing(lone: Store, home: Path) -> None:
    """A flipped bit, a cut or an addition at any of many places is found before anything is touched."""
    _filled(lone)
    good = lone.backups.make().path
    data = good.read_bytes()
    lone.close()
    bad = home.parent / "bad.backup"
    places = [*range(0, 3000, 131), *range(3000, len(data), len(data) // 12), len(data) - 1]
    variants = [data[:p] + bytes([data[p] ^ 1]) + data[p + 1 :] for p in places]
    variants += [data[: len(data) // 2], data[:-1], data[:25], b"", data + b"x"]
    for variant in variants:
        bad.write_bytes(variant)
        with pytest.raises((ArchiveDamaged, StoreTooNew, WrongPassphrase)):
            restore(bad, home, SECRET)
    with Store.open(home, SECRET) as now:
        now.verify()
    assert [p.name for p in home.parent.iterdir() if "before-restore" in p.name or p.name.startswith(".")] == []


def test_backup_needs_the_passphrase_of_its_time(lone: Store, tmp_path: Path) -> None:
    backup = lone.backups.make()
    lone.change_passphrase(SECRET, OTHER)
    with pytest.raises(WrongPassphrase):
        restore(backup.path, tmp_path / "new", OTHER)
    restore(backup.path, tmp_path / "new", SECRET)


def test_backup_is_not_the_chain_of_now_shows(lone: Store) -> None:
    """`verify` compares with the backups in the folder."""
    _, case = _filled(lone)
    lone.backups.make()
    with lone.vault.writing() as connection:
        connection.exec_driver_sql("DROP TRIGGER event_no_delete")
        connection.exec_driver_sql("DELETE FROM event WHERE case_id = ?", (case,))
    with pytest.raises(StoreDamaged):
        lone.verify()


def test_made_only_when_due(lone: Store, clock: Clock) -> None:
    assert lone.backups.make_if_due() is not None
    clock.forward(days=2)
    assert lone.backups.make_if_due() is None, "nothing was recorded since"
    _filled(lone)
    assert lone.backups.make_if_due() is not None
    _filled(lone)
    clock.forward(hours=5)
    assert lone.backups.make_if_due() is None, "the last is not a day old"
    clock.forward(days=-30)
    assert lone.backups.make_if_due() is not None, "a clock set back does not stop the backups"
    with pytest.raises(BadEntry, match="label"):
        lone.backups.make("../x")
    with pytest.raises(NotFound):
        lone.backups.check(Path("none"))


def test_records_open_while_backed_up(store: Store, case: str, reopen: Callable[[], Store]) -> None:
    with reopen() as second:
        store.backups.make()
        second.cases.record(case, Kind.NOTE, {"text": "meanwhile"}, "bob")
    store.verify()


START = datetime(2026, 1, 1, tzinfo=UTC)


def test_rotation_keeps_days_weeks_months() -> None:
    daily = [Kept(f"{i:03}", START + timedelta(days=i), i) for i in range(400)]
    gone = set(to_delete(daily, Keep(days=7, weeks=5, months=12), START + timedelta(days=400)))
    left = [b for b in daily if b.name not in gone]
    assert [b.name for b in left[-7:]] == [f"{i:03}" for i in range(393, 400)]
    assert len({b.made.strftime("%Y-%m") for b in left}) == 12
    assert 7 + 3 + 10 <= len(left) <= 7 + 5 + 12


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(-500, 500), st.integers(0, 50), st.sampled_from(["", "x"])), min_size=1, max_size=30)
)
def test_rotation_never_deletes_the_fullest(found: list[tuple[int, int, str]]) -> None:
    backups = [Kept(str(i), START + timedelta(days=d), seq, label) for i, (d, seq, label) in enumerate(found)]
    gone = to_delete(backups, Keep(1, 1, 1, 1), START)
    left = [b for b in backups if b.name not in gone]
    assert max(b.seq for b in left) == max(b.seq for b in backups)
    assert set(gone) <= {b.name for b in backups}
