"""Films outlast the server with their marks and their case, whole or not at all; they are their reader's alone and go with the case."""

import json
import os
import signal
import stat
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from canalwright import casefile
from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks
from canalwright.imaging.radiograph.shown import shown
from canalwright.records.crypt import new_key
from canalwright.web import filmbook
from canalwright.web.book import KEPT, TORN
from canalwright.web.filmbook import Filmbook
from canalwright.web.films import Films
from canalwright.web.office import Office
from canalwright.web.radiographs import Use
from canalwright.web.reader import reads
from canalwright.web.records.filmbook import ReaderFilmbook
from canalwright.web.records.house import ReaderShelf

MADE = Film((np.arange(64 * 64, dtype=np.float32) % 251).reshape(64, 64), 0.05, ("a doubt",))
MARKS = Marks(((1.0, 2.0), (3.0, 4.0)), 20.5, (5.0, 6.0), ((7.0, 8.0),), (5.0, 6.0))
"""Reference point and terminus on one point: as far as a hand has come, not as far as it can be read."""
USE = Use("distal", "measure", 1, "15", "left")


def office(folder: Path) -> Office:
    made = Office.of(casefile.generic_tray())
    made.radiographs = Films(book=Filmbook(folder))
    return made


def loaded(at: Office, case: str, use: Use = USE) -> str:
    key = at.radiographs.put("Ada Invented.dcm", MADE, shown(MADE))
    at.radiographs.mark(key, MARKS)
    at.radiographs.belongs(key, case, use)
    at.keep_film(key)
    return key


def test_after_a_restart_film_marks_and_case_are_there(tmp_path: Path) -> None:
    """The case was edited after the film was loaded: both come back under what it had become, and nothing tells of the person."""
    before, case = office(tmp_path), casefile.demo_case()
    first = before.shelf.put(case)
    key = loaded(before, first)
    edited = casefile.loads(
        casefile.dumps(case).replace("Invented example, not a patient.", "Invented example, edited.")
    )
    second = before.put(edited, instead_of=first)
    assert second != first
    after = office(tmp_path)
    assert [k for k, _ in after.listed()] == [second]
    found = after.found(second, 0)
    assert found is not None and found.digest == edited.digest
    film = dict(after.radiographs.of([second]))[key]
    assert (film.marks, film.use, film.case) == (MARKS, USE, second)
    assert (film.film.pixels == MADE.pixels).all() and (film.film.spacing, film.film.warnings) == (0.05, ("a doubt",))
    assert after.radiographs.last([first], "distal", "measure", 1) == (key, USE), (
        "found by what the case was before, too"
    )
    for path in tmp_path.iterdir():
        assert b"Ada" not in path.read_bytes(), "the name of a file may be that of a person"
        if os.name == "posix":
            assert stat.S_IMODE(path.stat().st_mode) == 0o600


KILLED = """
import sys
from pathlib import Path
from dataclasses import replace
from tests.web.test_films import MARKS, loaded, office
at = office(Path(sys.argv[1]))
from canalwright import casefile
key = loaded(at, at.shelf.put(casefile.demo_case()))
print(key, flush=True)
for n in range(1, 100000):
    at.radiographs.mark(key, replace(MARKS, known_mm=float(n)))
    at.keep_film(key)
    print(n, flush=True)
"""


def test_a_server_that_is_killed_loses_no_mark_that_it_wrote(tmp_path: Path) -> None:
    """Killed at any moment while marks are written: the film is there with the last marks told, or the ones on their way."""
    for turn in range(2):
        folder = tmp_path / str(turn)
        process = subprocess.Popen([sys.executable, "-c", KILLED, str(folder)], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        key = process.stdout.readline().strip()
        for _ in range(5 + 6 * turn):
            process.stdout.readline()
        process.send_signal(signal.SIGKILL)
        told = [int(line) for line in process.stdout.read().split()]
        process.wait()
        process.stdout.close()
        last = told[-1] if told else 5 + 6 * turn
        after = office(folder)
        film = after.radiographs.get(key)
        assert film is not None and film.marks.known_mm in (last, last + 1)
        assert len(after.listed()) == 1
        after.radiographs.book.forget_old(time.time() + TORN + 1)
        assert not list(folder.glob(".*")), "what was never finished is swept away"
        assert after.radiographs.book.listed() == [key]


def test_a_closed_case_takes_its_films_from_the_disk(tmp_path: Path) -> None:
    at, case = office(tmp_path), casefile.demo_case()
    key = at.shelf.put(case)
    loaded(at, key)
    other = at.radiographs.put("b", MADE, shown(MADE))
    at.radiographs.belongs(other, "f" * 16, USE)
    at.radiographs.keep(other)
    at.close(key)
    assert at.shelf.get(key) is None and at.radiographs.of([key]) == []
    assert {p.stem for p in tmp_path.iterdir()} == {other}
    at.radiographs.drop(other)
    assert not list(tmp_path.iterdir())


def test_films_are_bounded_by_number_room_and_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = Filmbook(tmp_path)
    monkeypatch.setattr(filmbook, "MOST", 3)
    names = [f"{n:016x}" for n in range(5)]
    for n, name in enumerate(names):
        book.write(name, b"{}", lambda: b"x" * 100)
        os.utime(tmp_path / f"{name}.json", (1000.0 + n, 1000.0 + n))
    assert book.listed() == names[2:]
    monkeypatch.setattr(filmbook, "ROOM", 250)
    book.write(names[4], b"{}", lambda: b"")
    assert book.listed() == names[3:]
    book.forget_old(time.time() + KEPT + 60)
    assert not list(tmp_path.iterdir())


def test_more_films_than_memory_holds_are_all_found(tmp_path: Path) -> None:
    at = office(tmp_path)
    at.radiographs.most = 2
    key = at.shelf.put(casefile.demo_case())
    keys = [loaded(at, key, replace(USE, slot=n % 2)) for n in range(4)]
    assert [k for k, _ in at.radiographs.of([key])] == keys
    assert all(at.radiographs.get(k) is not None for k in keys)


def test_where_the_disk_takes_nothing_it_is_said_and_the_film_stays_open(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    at = office(tmp_path / "file" / "films")
    key = at.radiographs.put("a", MADE, shown(MADE))
    at.radiographs.belongs(key, at.shelf.put(casefile.demo_case()), USE)
    with pytest.raises(ScanError, match=r"^this film is not kept: .*cannot be written"):
        at.keep_film(key)
    assert at.radiographs.get(key) is not None


def test_a_damaged_file_hides_no_other_film(tmp_path: Path) -> None:
    at = office(tmp_path)
    key = at.shelf.put(casefile.demo_case())
    torn, whole = loaded(at, key), loaded(at, key)
    for damage in (b"", b"{", b"[]", b'{"film": {}, "keys": ["a"]}', b'{"film": {"use": 3}, "keys": 4}'):
        (tmp_path / f"{torn}.json").write_bytes(damage)
        assert [k for k, _ in office(tmp_path).radiographs.of([key])] == [whole]
    (tmp_path / f"{whole}.png").write_bytes(b"none")
    assert office(tmp_path).radiographs.get(whole) is None and (tmp_path / f"{whole}.png").exists()


def test_where_records_are_open_films_are_sealed_their_readers_own_and_erased_with_the_person(tmp_path: Path) -> None:
    book, case = ReaderFilmbook(tmp_path, new_key()), casefile.demo_case()
    at = office(tmp_path)
    at.shelf, at.radiographs = ReaderShelf(), Films(book=book)
    reads("ann")
    key = at.shelf.put(case)
    at.shelf.note(key, "case-1")
    film = loaded(at, key)
    for path in tmp_path.rglob("*.*"):
        content = path.read_bytes()
        assert b"PNG" not in content[:8] and key.encode() not in content and b"distal" not in content
    reads("ben")
    assert at.radiographs.get(film) is None and at.radiographs.of([key]) == [] and at.listed() == ()
    his = at.shelf.put(case)
    loaded(at, his)
    at.radiographs.forget("ann")
    reads("ann")
    assert at.radiographs.get(film) is not None, "signing out closes it and does not erase it"
    fresh = Office.of(at.tray)
    fresh.shelf, fresh.radiographs = ReaderShelf(), Films(book=book)
    back = fresh.found(key, 0)
    assert back is not None and back.digest == case.digest and fresh.shelf.came_from(key) == "case-1"
    at.radiographs.erase_for_all(set(), {"case-2"})
    assert at.radiographs.get(film) is not None
    at.radiographs.erase_for_all({key}, {"case-1"})
    assert at.radiographs.get(film) is None and not [p for p in tmp_path.rglob("*") if p.is_file()]
    reads("")


def test_what_is_told_is_json_that_every_version_can_read(tmp_path: Path) -> None:
    at = office(tmp_path)
    key = loaded(at, at.shelf.put(casefile.demo_case()))
    told = json.loads((tmp_path / f"{key}.json").read_bytes())
    assert (
        set(told) == {"film", "keys", "case", "record"}
        and casefile.loads(told["case"]).digest == casefile.demo_case().digest
    )
