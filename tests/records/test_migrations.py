"""Protects: records of every earlier version open and lose nothing; a newer version is refused, not guessed at."""

import shutil
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from canalwright.records import Kind, Store, restore
from canalwright.records.errors import StoreTooNew
from canalwright.records.migrate import known_revisions
from canalwright.records.schema import metadata
from tests.records.conftest import SECRET
from tests.records.make_old import make

DATA = Path(__file__).parent / "data"


def test_steps_lead_to_the_tables_of_the_program(store: Store) -> None:
    """No table, column, index or type differs between the migrations and `schema.py`."""
    with store.vault.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_every_earlier_version_has_its_file() -> None:
    assert [p.name for p in sorted(DATA.iterdir())] == list(known_revisions()[:-1])


@pytest.mark.parametrize("version", known_revisions()[:-1])
def test_old_file_opens(tmp_path: Path, version: str) -> None:
    """A file written by that version of the program: backed up, brought up to date, nothing lost."""
    home = tmp_path / "records"
    shutil.copytree(DATA / version, home)
    with Store.open(home, SECRET) as store:
        _is_whole(store, store.cases.page().rows[0].case_id)
        backups = store.backups.all()
    assert [b.label for b in backups] == [f"before-upgrade-{version}"]
    restore(backups[0].path, tmp_path / "back", SECRET)
    with Store.open(tmp_path / "back", SECRET) as back:
        _is_whole(back, back.cases.page().rows[0].case_id)


@pytest.mark.parametrize("version", known_revisions()[:-1])
def test_old_tables_of_either_database_open(tmp_path: Path, url: str | None, version: str) -> None:
    case = make(tmp_path / "records", version, url)
    with Store.open(tmp_path / "records", SECRET, url=url) as store:
        _is_whole(store, case)


def test_newer_version_is_refused(store: Store, home: Path, url: str | None) -> None:
    with store.vault.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    head = store.head
    store.close()
    with pytest.raises(StoreTooNew, match="version 9999, written by a newer program"):
        Store.open(home, SECRET, url=url)
    assert store.head == head


def test_failed_step_leaves_the_old_version(tmp_path: Path, url: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """The power goes in the middle of an upgrade: next time it is the old version, whole."""
    import canalwright.records.store as module

    case = make(tmp_path / "records", known_revisions()[0], url)
    real = module.upgrade

    def half(connection, to="head"):  # type: ignore[no-untyped-def]
        real(connection, to)
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "upgrade", half)
    with pytest.raises(KeyboardInterrupt):
        Store.open(tmp_path / "records", SECRET, url=url)
    monkeypatch.undo()
    with Store.open(tmp_path / "records", SECRET, url=url) as store:
        _is_whole(store, case)


def _is_whole(store: Store, case: str) -> None:
    store.verify()
    view = store.cases.view(case)
    assert (view.tooth, view.filled, view.next_due, view.plans) == (46, "2024-03-01", "2025-03-01", 1)
    assert store.plans.current(case, "mesial").content == {"cone": "a"}
    assert store.patients.identity(view.patient).name == "Ada Invented"
    with store.vault.reading() as connection:
        kinds = [e.kind for e in store.ledger.read(connection)]
    assert Kind.UPGRADE in kinds
