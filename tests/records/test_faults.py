"""Protects: whatever happens to the machine, no committed event is lost, no file corrupt, and a clear word is said."""

import multiprocessing
import os
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from benchmarks.kill_loop import main as kill_loop

from canalwright.records import Kind, Passphrase, Store
from canalwright.records.errors import DiskFull, RecordsError, StoreBusy, StoreDamaged, StoreReadOnly
from tests.records.conftest import CHEAP, SECRET
from tests.records.workers import write_and_die, write_many

linux = pytest.mark.skipif(sys.platform != "linux", reason="needs fork and mount of Linux")


@linux
@pytest.mark.slow
def test_killed_at_any_moment(tmp_path: Path) -> None:
    """A short run of `benchmarks/kill_loop.py`, which does 500."""
    counts = kill_loop(rounds=60 if os.environ.get("CI") == "true" else 12, seed=7, folder=tmp_path)
    assert counts["killed at work"] == counts["rounds checked"]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 1 MiB."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("mounting a small disk needs root")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def _until_full(store: Store) -> tuple[str, list[int]]:
    case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
    kept: list[int] = []
    with pytest.raises(DiskFull, match=r"nothing .* was kept|nothing was changed"):
        for _ in range(1000):
            kept.append(store.cases.record(case, Kind.NOTE, {"noise": os.urandom(4000).hex()}, "ann"))
    return case, kept


@linux
def test_full_disk(small_disk: Path) -> None:
    """All that was kept is there, the chain holds, it can be read while full, and goes on when there is room."""
    spare = small_disk / "spare"
    spare.write_bytes(bytes(150_000))
    with Store.create(small_disk / "records", SECRET, cost=CHEAP) as store:
        case, kept = _until_full(store)
        assert [e.seq for e in store.cases.events(case)][1:] == kept
    with Store.open(small_disk / "records", SECRET) as store:
        store.verify()
        spare.unlink()
        store.cases.record(case, Kind.NOTE, {"text": "room again"}, "ann")
        store.verify()
        with pytest.raises(DiskFull):
            Store.create(small_disk / "second", SECRET, cost=CHEAP).backups.make()
            for _ in range(100):
                store.backups.make()
        store.verify()


def test_full_quota(lone: Store) -> None:
    """The same without a disk of its own: the file may not grow past 60 pages."""
    with lone.vault.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 60")
    case, kept = _until_full(lone)
    lone.verify()
    assert [e.seq for e in lone.cases.events(case)][1:] == kept


@linux
@pytest.mark.parametrize("left_over_log", [False, True])
def test_read_only_disk(small_disk: Path, left_over_log: bool) -> None:
    """Everything can be read, what a cut-off program left in the log too; nothing can be written, and that is said."""
    home = small_disk / "records"
    with Store.create(home, SECRET, cost=CHEAP) as store:
        case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
    if left_over_log:
        _in_process(write_and_die, home, case)
        assert (home / "records.db-wal").stat().st_size
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with Store.open(home, SECRET) as store:
        assert len(store.cases.events(case)) == (2 if left_over_log else 1)
        store.verify()
        for act in (
            lambda: store.cases.record(case, Kind.NOTE, {"text": "x"}, "ann"),
            lambda: store.patients.add("ann"),
            lambda: store.backups.make(),
            lambda: store.change_passphrase(SECRET, Passphrase("seven quiet lanterns under snow")),
        ):
            with pytest.raises(StoreReadOnly):
                act()
    with pytest.raises(RecordsError):
        Store.create(small_disk / "new", SECRET, cost=CHEAP)


@linux
def test_disk_turns_read_only_while_open(small_disk: Path) -> None:
    with Store.create(small_disk / "records", SECRET, cost=CHEAP) as store:
        case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
    with Store.open(small_disk / "records", SECRET) as store:
        subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=False)
        if os.access(small_disk, os.W_OK):
            pytest.skip("this system does not remount a disk in use")
        with pytest.raises(StoreReadOnly):
            store.cases.record(case, Kind.NOTE, {"text": "x"}, "ann")


def test_two_programs_write_at_once(store: Store, case: str, home: Path, url: str | None) -> None:
    """Two processes, 25 events each: all are there, numbered without a gap."""
    spawn = multiprocessing.get_context("spawn")
    workers = [spawn.Process(target=write_many, args=(home, url, case, str(i))) for i in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [w.exitcode for w in workers] == [0, 0]
    events = store.cases.events(case)
    assert [e.seq for e in events] == list(range(1, 52))
    assert {(e.author, e.field("n")) for e in events[1:]} == {(str(i), n) for i in range(2) for n in range(25)}
    store.verify()


def test_threads_of_one_program_write_and_read_at_once(store: Store, case: str) -> None:
    """A page serves several people from one process: every entry is there, and nobody reads a half-written state."""

    def work(name: str) -> None:
        for n in range(10):
            store.cases.record(case, Kind.NOTE, {"n": n}, name)
            assert store.cases.view(case).last_seq >= n + 2
            store.cases.now(case)

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(work, [f"user{i}" for i in range(6)]))
    assert len(store.cases.events(case)) == 61
    store.verify()


def test_held_too_long_is_told(lone: Store, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canalwright.records.engine.WAIT_MS", 100)
    with Store.open(home, SECRET) as second, lone.vault.writing(), pytest.raises(StoreBusy, match="another program"):
        second.patients.add("bob")
    lone.patients.add("ann")


@pytest.mark.parametrize("place", [0, 100, 5000, 40_000])
def test_damaged_file_is_told_not_read(lone: Store, home: Path, place: int) -> None:
    """A single flipped bit in the file: a word about it, never wrong data."""
    case = lone.cases.open(lone.patients.add("ann"), {"tooth": 46}, "ann")
    lone.cases.record(case, Kind.NOTE, {"noise": os.urandom(30_000).hex()}, "ann")
    lone.close()
    file = home / "records.db"
    data = bytearray(file.read_bytes())
    data[place] ^= 1
    file.write_bytes(bytes(data))
    with pytest.raises(StoreDamaged, match="restore a backup"), Store.open(home, SECRET) as store:
        store.cases.events(case)
        store.verify()
        with store.vault.reading() as connection:
            connection.exec_driver_sql("PRAGMA integrity_check").all()
            list(store.ledger.read(connection))
            pytest.fail("the damage was not seen")


def _in_process(act, *args) -> None:  # type: ignore[no-untyped-def]
    process = multiprocessing.get_context("spawn").Process(target=act, args=args)
    process.start()
    process.join(60)
    assert process.exitcode == 0
