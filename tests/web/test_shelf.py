"""Cases lie under the digest of their content: an edit is another case, nothing is overwritten; they outlast the server, within bounds."""

import json
import os
import signal
import stat
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import httpx
import pytest
from fastapi import FastAPI

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.records.crypt import new_key
from canalwright.web import begun as begun_forms
from canalwright.web.begun import Begun
from canalwright.web.book import KEPT, TORN, Book
from canalwright.web.data import routes
from canalwright.web.draft import Draft
from canalwright.web.office import Office
from canalwright.web.reader import reads
from canalwright.web.records.filmbook import ReaderBook
from canalwright.web.records.house import ReaderShelf
from canalwright.web.shelf import MOST_OLDER, Shelf, ShelfFull


def labelled(case: Case, number: int) -> Case:
    return Draft.of(case).with_label(f"case {number}").case()


def test_an_edit_leaves_the_case_it_came_from(case: Case) -> None:
    shelf = Shelf()
    first = shelf.put(case)
    second = shelf.put(Draft.of(case).with_text(0, "working_length", "19.5").case())
    assert first != second
    assert shelf.get(first) is case
    edited = shelf.get(second)
    assert edited is not None and edited.canals[0].working_length == 19.5


def test_one_case_too_many_is_refused_and_none_is_lost(case: Case) -> None:
    """The states that a case went through are not counted, and an edit is never refused."""
    shelf = Shelf(most=2)
    keys = [shelf.take(labelled(case, i)) for i in range(2)]
    with pytest.raises(ShelfFull, match="close one"):
        shelf.take(labelled(case, 2))
    assert shelf.take(labelled(case, 0)) == keys[0], "one that is open already is no case more"
    keys[1] = shelf.put(labelled(case, 3), instead_of=keys[1])
    assert {key for key, _ in shelf.listed()} == set(keys)
    shelf.drop(shelf.line(keys[0]))
    assert shelf.get(shelf.take(labelled(case, 2))) is not None


def test_only_the_last_states_are_kept_and_the_newest_stays_the_newest(case: Case, tmp_path: Path) -> None:
    shelf, other = Shelf(Book(tmp_path)), labelled(case, -1)
    lies = shelf.take(other)
    first = key = shelf.take(case)
    for i in range(MOST_OLDER + 5):
        key = shelf.put(labelled(case, i), instead_of=key)
    assert shelf.settle() == ""
    for at in (shelf, Shelf(Book(tmp_path))):
        assert {k for k, _ in at.listed()} == {lies, key} and at.get(first) is None
        kept = [k for k in at.line(key) if at.get(k) is not None]
        assert len(kept) == MOST_OLDER + 1 and at.newer(kept[-1]) == key
        assert at.line(key)[-1] == first and at.knows(first), "a state that is not kept is known still"
        assert at.newer(first) == key and at.newer("0" * 16) == "", "and its address leads to the newest"
    assert len(list(tmp_path.iterdir())) == MOST_OLDER + 2


def test_an_older_case_knows_what_it_was_changed_into(case: Case) -> None:
    """Two windows: the one left behind can say so, through several changes and back again."""
    shelf = Shelf()
    drafts = [Draft.of(case).with_text(0, "working_length", text).case() for text in ("19.5", "20")]
    first = shelf.put(case)
    second = shelf.put(drafts[0], instead_of=first)
    third = shelf.put(drafts[1], instead_of=second)
    assert (shelf.newer(first), shelf.newer(second), shelf.newer(third)) == (third, third, "")
    assert [key for key, _ in shelf.listed()] == [third]
    assert shelf.put(case, instead_of=third) == first
    assert (shelf.newer(first), shelf.newer(third)) == ("", first)


def test_after_a_restart_every_case_is_there_as_it_was(case: Case, tmp_path: Path) -> None:
    """Under the same addresses, in the same order, each knowing what it was changed into, by two windows even; and where one was last."""
    shelf = Shelf(Book(tmp_path))
    other = shelf.take(labelled(case, 9))
    first = shelf.take(case)
    left, right = (shelf.put(labelled(case, i), instead_of=first) for i in range(2))
    undone = shelf.put(case, instead_of=right)
    shelf.looked(first, "2/plan?rounds=2")
    shelf.get(other)
    before = shelf.listed()
    assert shelf.settle() == "" and undone == first
    after = Shelf(Book(tmp_path))
    assert {k: c.digest for k, c in after.listed()} == {k: c.digest for k, c in before}
    assert (
        [after.newer(k) for k in (first, left, right)]
        == [shelf.newer(k) for k in (first, left, right)]
        == ["", "", first]
    )
    assert after.line(first) == shelf.line(first) and after.last(first) == "2/plan?rounds=2" and after.last(other) == ""
    if os.name == "posix":
        assert {stat.S_IMODE(p.stat().st_mode) for p in tmp_path.iterdir()} == {0o600}
    after.drop(after.line(first))
    assert after.settle() == "" and {k for k, _ in Shelf(Book(tmp_path)).listed()} == {other, left}


KILLED = """
import sys
from pathlib import Path
from canalwright import casefile
from canalwright.web.book import Book
from canalwright.web.data import routes
from canalwright.web.draft import Draft
from canalwright.web.office import Office
from canalwright.web.shelf import Shelf
shelf, draft = Shelf(Book(Path(sys.argv[1]))), Draft.of(casefile.demo_case())
key = shelf.take(draft.case())
for n in range(100000):
    key = shelf.put(draft.with_label(f"case {n}").case(), instead_of=key)
    assert shelf.settle() == ""
    print(n, flush=True)
"""


def test_a_server_that_is_killed_loses_no_change_that_it_wrote(tmp_path: Path) -> None:
    """Killed while a case is edited and older states of it go: it is there, once, as it was last told or as it was on its way to be."""
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for _ in range(MOST_OLDER + 6):
        process.stdout.readline()
    process.send_signal(signal.SIGKILL)
    last = [MOST_OLDER + 5, *map(int, process.stdout.read().split())][-1]
    process.wait()
    process.stdout.close()
    ((_, found),) = Shelf(Book(tmp_path)).listed()
    assert found.label in (f"case {last}", f"case {last + 1}")
    Book(tmp_path).forget_old(time.time() + TORN + 1)
    assert not list(tmp_path.glob(".*")), "what was never finished is swept away"


def test_what_nobody_used_for_thirty_days_goes(case: Case, tmp_path: Path) -> None:
    shelf = Shelf(Book(tmp_path))
    keys = [shelf.take(labelled(case, i)) for i in range(2)]
    shelf.settle()
    for path in tmp_path.iterdir():
        os.utime(path, (1000.0, 1000.0))
    fresh = Shelf(Book(tmp_path))
    assert len(fresh.listed()) == 2 and fresh.get(keys[1]) is not None
    fresh.settle()
    Book(tmp_path).forget_old(1000.0 + KEPT + 60)
    assert [k for k, _ in Shelf(Book(tmp_path)).listed()] == [keys[1]], (
        "to be listed is not to be used, to be opened is"
    )


def test_where_the_disk_takes_nothing_it_is_said_and_the_case_stays_open(case: Case, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    shelf = Shelf(Book(tmp_path / "file" / "cases"))
    key = shelf.take(case)
    assert "cannot be written" in shelf.settle() and shelf.get(key) is case
    (tmp_path / "file").unlink()
    shelf.put(labelled(case, 1), instead_of=key)
    assert shelf.settle() == ""


async def test_the_page_says_what_is_not_kept_and_what_is_too_many(case: Case, tmp_path: Path) -> None:
    (tmp_path / "cases").write_text("in the way")
    office = Office.of(casefile.generic_tray())
    office.shelf = Shelf(Book(tmp_path / "cases"), most=1)
    app = FastAPI()
    app.include_router(routes(office))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as client:
        first, second = (casefile.dumps(labelled(case, i)) for i in range(2))
        way = (await client.post("/open", content=first)).json()["go"].removesuffix("/0/plan")
        told = (await client.get(f"{way}/newer.json")).json()
        assert told["newer"] == "" and told["unkept"].startswith("This case would be lost with the program: ")
        refused = await client.post("/open", content=second)
        assert refused.status_code == 409 and "close one on the start page first" in refused.json()["problems"][0]
        (tmp_path / "cases").unlink()
        await client.post(f"{way}/close")
        way = (await client.post("/open", content=second)).json()["go"].removesuffix("/0/plan")
        assert (await client.get(f"{way}/newer.json")).json() == {"newer": "", "unkept": ""}
    assert len(list((tmp_path / "cases").iterdir())) == 1
    office.bench.close()


def test_a_damaged_file_hides_no_other_case(case: Case, tmp_path: Path) -> None:
    shelf = Shelf(Book(tmp_path))
    torn = shelf.take(labelled(case, 0))
    shelf.settle()
    (path,) = tmp_path.iterdir()
    whole, text = shelf.take(case), path.read_text()
    shelf.settle()
    for damage in (
        "",
        "{",
        "[]",
        "{}",
        text.replace("working_length_mm", "length_of_work"),
        text.replace('"made"', '"mad"'),
    ):
        path.write_text(damage)
        fresh = Shelf(Book(tmp_path))
        assert [k for k, _ in fresh.listed()] == [whole] and fresh.get(torn) is None and path.exists()
    path.write_text(text)
    assert {k for k, _ in Shelf(Book(tmp_path)).listed()} == {torn, whole}


def test_where_records_are_open_cases_are_sealed_their_readers_own_and_erased_with_the_person(
    case: Case, tmp_path: Path
) -> None:
    book = ReaderBook(tmp_path, new_key(), "case")
    shelf = ReaderShelf(book)
    try:
        reads("ann")
        first = shelf.take(case)
        second = shelf.put(labelled(case, 1), instead_of=first)
        shelf.note(second, "case-1")
        other = shelf.take(labelled(case, 2))
        assert shelf.settle() == ""
        for path in tmp_path.rglob("*.*"):
            content = path.read_bytes()
            assert b"case" not in content and b"distal" not in content and first.encode() not in content
        reads("ben")
        assert shelf.listed() == () and shelf.get(first) is None
        his = shelf.take(case)
        shelf.settle()
        shelf.clear("ann")
        reads("ann")
        assert {k for k, _ in shelf.listed()} == {second, other}, "signing out closes them and does not erase them"
        assert shelf.came_from(second) == shelf.came_from(first) == "case-1" and shelf.came_from(other) == ""
        shelf.clear("ann")
        shelf.erase({his}, {"case-1"})
        assert [k for k, _ in shelf.listed()] == [other] and shelf.get(first) is None
        reads("ben")
        assert shelf.listed() == ()
        assert len(list(tmp_path.rglob("*.json"))) == 1
    finally:
        reads("")


def test_a_form_that_is_begun_is_kept_sealed_its_readers_own_and_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, draft, names = Begun(ReaderBook(tmp_path, new_key(), "form")), Draft.new().with_label("palatal"), []
    try:
        reads("ann")
        for i in range(3):
            names.append(f"{i:016x}")
            begun.keep(names[i], draft.with_text(0, "working_length", f"{i + 18}"))
        found = begun.get(names[1])
        assert (
            found is not None and found.text(0, "working_length") == "19" and found.table["case"]["label"] == "palatal"
        )
        assert not any(b"palatal" in path.read_bytes() for path in tmp_path.rglob("*.json"))
        monkeypatch.setattr(begun_forms, "MOST", 2)
        begun.keep(names[2], draft)
        assert begun.get(names[2]) is not None and begun.get(names[0]) is None and len(begun.listed()) == 2
        reads("ben")
        assert begun.get(names[1]) is None and begun.listed() == ()
        reads("ann")
        begun.drop(names[1])
        assert [name for name, _ in begun.listed()] == [names[2]] and begun.get("../" + names[2]) is None
    finally:
        reads("")


@pytest.mark.parametrize(
    "told",
    [
        b"",
        b"{",
        b"[]",
        b'{"case": {}, "tooth": {"number": 99}, "canal": [{}]}',
        b'{"case": {}, "tooth": {"number": 11}, "canal": []}',
    ],
)
def test_a_damaged_form_is_as_if_it_were_not_there(tmp_path: Path, told: bytes) -> None:
    begun, name = Begun(Book(tmp_path)), "0" * 16
    begun.keep(name, Draft.new())
    assert begun.get(name) is not None
    (tmp_path / f"{name}.json").write_bytes(told)
    assert begun.get(name) is None and begun.listed() == () and Begun().listed() == ()


def test_what_is_told_is_json_that_every_version_can_read(case: Case, tmp_path: Path) -> None:
    shelf = Shelf(Book(tmp_path))
    shelf.take(case)
    shelf.settle()
    told = json.loads(next(tmp_path.iterdir()).read_bytes())
    assert (
        set(told) == {"key", "case", "past", "record", "last", "made"}
        and casefile.loads(told["case"]).digest == case.digest
    )


async def test_the_card_has_the_label_of_its_case(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    office = Office.of(casefile.generic_tray())
    key, asked = office.shelf.put(case), list[str]()

    async def story(*_: object) -> tuple[object, None]:
        return SimpleNamespace(canal=case.canals[0]), None

    async def aside(work: partial[bytes], *_: object) -> bytes:
        asked.append(work.keywords["label"])
        return b"%PDF"

    monkeypatch.setattr(office.bench, "story", story)
    monkeypatch.setattr(office.bench, "aside", aside)
    app = FastAPI()
    app.include_router(routes(office))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as client:
        assert (await client.get(f"/case/{key}/0/card.pdf")).content == b"%PDF"
    assert asked == [case.label] and case.label
    office.bench.close()
