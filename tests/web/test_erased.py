"""After a person is erased nothing of their case is left beside the records, and no window that still shows it can write it anew.

What is kept is written in the clear here, so that the whole data folder can be searched for the text of the case; that it is sealed
otherwise is protected in `test_shelf`, `test_films` and `test_records`.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from fastapi import FastAPI

from canalwright import casefile
from canalwright.assessment import Assessment
from canalwright.casefile import Case
from canalwright.guide import Event
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks
from canalwright.imaging.radiograph.shown import shown
from canalwright.records import Kind, Passphrase, Store
from canalwright.web import chair_routes, data, heat_routes, moving_routes
from canalwright.web.chairbook import ChairbookError
from canalwright.web.checks import Check
from canalwright.web.draft import Draft
from canalwright.web.gone import ERASED
from canalwright.web.office import Office
from canalwright.web.radiographs import Use
from canalwright.web.reader import reads
from canalwright.web.records import chairbook, erasing, filmbook
from canalwright.web.records.house import House
from canalwright.web.shelf import CaseGone, behind
from tests.exchange.sample import assessment
from tests.records.conftest import CHEAP, Clock
from tests.support.recordroom import GOOD, SECRET, Browser, clock

__all__ = ["clock"]
HERS, OTHER = "quokka", "wombat"
"""Words in the labels of the erased person's case and of another's."""
MADE = Film((np.arange(64 * 64, dtype=np.float32) % 251).reshape(64, 64), 0.05, ())


def labelled(word: str, number: int = 0) -> Case:
    text = casefile.dumps(casefile.demo_case())
    return casefile.loads(text.replace('label = "Demo', f'label = "{word} {number} Demo'), "case")


@pytest.fixture
def in_the_clear(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (chairbook, filmbook):
        monkeypatch.setattr(module, "seal", lambda key, content, about: content)
        monkeypatch.setattr(module, "unseal", lambda key, content, about: content)
    monkeypatch.setattr(chairbook, "b64encode", lambda content: content)
    monkeypatch.setattr(chairbook, "b64decode", lambda content, validate: content)


@dataclass
class Room:
    """A house with what stands open in it of one person and of another, of three readers."""

    house: House
    case: str = ""
    first: str = ""
    key: str = ""
    other: str = ""
    chair: str = ""
    film: str = ""
    other_film: str = ""

    @property
    def office(self) -> Office:
        return self.house.office

    def fill(self) -> None:
        """Ann keeps a case that she edited, with a film, a session and a check; Ben has the same file open and edited it; and another."""
        store, office = self.house.store, self.office
        reads("ann")
        self.first = office.take(labelled(HERS))
        before = office.chairs.begin(labelled(HERS), 0, "", practice=True)
        self.key = office.put(labelled(HERS, 1), instead_of=self.first)
        self.case = store.cases.open(store.patients.add("ann"), {"tooth": 46}, "ann")
        text = casefile.dumps(labelled(HERS, 1))
        measured = {"case_file": text, "digest": labelled(HERS, 1).digest}
        store.cases.record(self.case, Kind.MEASUREMENT, measured, "ann")
        office.shelf.note(self.key, self.case)
        self.film = self.loaded(self.key)
        self.chair = office.chairs.begin(labelled(HERS, 1), 0, "", practice=False, record=self.case)
        for ident in (before, self.chair):
            office.chairs.book.append(ident, Event("go", time.time()))
        office.checks.put(self.key, 0, check(assessment()))
        self.other = office.take(labelled(OTHER))
        self.other_film = self.loaded(self.other)
        office.chairs.begin(labelled(OTHER), 0, "", practice=False)
        reads("ben")
        his = office.take(labelled(HERS, 1))
        office.put(labelled(HERS, 2), instead_of=his)
        reads("eve")  # not there any more when it is erased: only on the disk
        office.put(labelled(HERS, 3), instead_of=office.take(labelled(HERS, 1)))
        self.house.forget("eve")
        reads("ann")
        behind().submit(lambda: None).result()

    def loaded(self, key: str) -> str:
        film = self.office.radiographs.put("film", MADE, shown(MADE))
        self.office.radiographs.mark(film, Marks())
        self.office.radiographs.belongs(film, key, Use("distal"))
        self.office.keep_film(film)
        return film

    def holding(self, word: str) -> list[Path]:
        """Files of the whole data folder that hold a word."""
        behind().submit(lambda: None).result()
        found = [path for path in self.house.store.vault.home.rglob("*") if path.is_file()]
        return [path for path in found if word.encode() in path.read_bytes()]


def check(found: Assessment) -> Check:
    return Check(found, None, {})


class Window(Browser):
    """A browser that sees the case pages' own routes too."""

    def more(self, house: House) -> FastAPI:
        app = super().more(house)
        for routes in (data.routes, chair_routes.routes, heat_routes.routes, moving_routes.routes):
            app.include_router(routes(house.office))
        return app


@pytest.fixture
def opened(tmp_path: Path, clock: Clock, in_the_clear: None) -> Iterator[Callable[[], Room]]:
    """Opens the records anew each time, as a server does that starts."""
    rooms: list[Room] = []

    def close() -> None:
        for room in rooms:
            room.office.bench.close()
            room.house.store.close()
        rooms.clear()

    def again() -> Room:
        close()
        home = tmp_path / "records"
        open_ = Store.open if home.exists() else Store.create
        more = {} if home.exists() else {"cost": CHEAP}
        store = open_(home, Passphrase(SECRET), clock=clock, **more)  # type: ignore[arg-type]
        house = House.of(store, Office.of(casefile.generic_tray()), cost=CHEAP)
        if house.first_key:
            house.door.users.first("ann", GOOD)
        rooms.append(Room(house))
        return rooms[-1]

    yield again
    reads("")
    close()


async def refused(window: Window, room: Room) -> None:
    """Everything that a window may still send about the case."""
    get, post = window.client.get, window.client.post
    origin = {"origin": str(window.client.base_url).rstrip("/")}
    for key in (room.key, room.first):
        at = f"/case/{key}/0"
        for path in ("/case.toml", "/case.zip", "/0/card.pdf", "/0/plan.json", "/0/film.json", "/0/stations.json", "/0/solid.json",
                     "/0/heat/state.json", "/0/moving/state.json"):  # fmt: skip
            answer = await get(f"/case/{key}{path}")
            assert answer.status_code == 410 and ERASED in answer.text, path
        for path in (f"{at}/begin", f"{at}/begin?practice=true", f"{at}/heat/run", f"{at}/moving/start"):
            answer = await post(path, headers=origin)
            assert answer.status_code == 410 and ERASED in answer.text, path
        assert (await get(f"/case/{key}/newer.json")).json() == {"gone": True}
        for kept in ("keep", "keep-check"):
            assert (await get(f"/records/{kept}/{key}/0")).status_code == 404
    for path in ("state.json", "tooth.svg"):
        assert (await get(f"/chair/{room.chair}/{path}")).status_code == 410
    event = {"kind": "go", "moment": time.time()}
    assert (await post(f"/chair/{room.chair}/events", json=event, headers=origin)).status_code == 410
    for path in ("keep", "replan"):
        answer = await post(f"/chair/{room.chair}/{path}", headers=origin)
        assert answer.status_code == 410 and ERASED in answer.text
    office = room.office
    reads("ann")
    with pytest.raises(CaseGone, match="erased"):
        office.put(labelled(HERS, 9), instead_of=room.key)
    with pytest.raises(CaseGone, match="erased"):
        office.put(labelled(HERS, 9), instead_of=room.first)
    film = office.radiographs.put("film", MADE, shown(MADE))  # sent by a window that still stands open
    office.radiographs.belongs(film, room.key, Use("distal"))
    assert "erased" in await office.film_unkept(film)
    office.refile(room.key)
    assert office.checks.get(room.key, 0) is None and office.radiographs.get(room.film) is None
    assert room.key not in {key for key, _ in office.listed()} and office.found(room.key, 0) is None


async def test_an_erased_case_is_refused_everywhere_and_nothing_of_it_is_written_again(
    opened: Callable[[], Room],
) -> None:
    room = opened()
    room.fill()
    assert len(room.holding(HERS)) >= 9, "otherwise the search would find nothing anyway"
    others = {path.name: path.read_bytes() for path in room.holding(OTHER)}
    assert len(others) >= 3
    window = Window(room.house)
    async with window.client:
        await window.sign_in()
        chair = await room.office.chairs.get(room.chair)  # a chair that stands open
        await window.get(f"/records/case/{room.case}/rules")
        patient = room.house.store.cases.view(room.case).patient
        given = {"reason": "asked for it", "pseudonym": patient, "password": GOOD, "code": ""}
        assert (await window.send(f"/records/case/{room.case}/rules/erase", **given)).status_code == 200
        assert room.holding(HERS) == []
        await refused(window, room)
        with pytest.raises(ChairbookError):
            chair.take(room.office.chairs.book, Event("go", time.time()))
    assert room.holding(HERS) == []
    for name in ("ben", "eve"):
        reads(name)
        assert room.office.listed() == ()
    again = opened()
    room.house = again.house
    window = Window(room.house)
    async with window.client:
        await window.sign_in()
        await refused(window, room)
    assert room.holding(HERS) == []
    reads("ann")
    assert room.office.shelf.get(room.other) is not None and room.office.radiographs.get(room.other_film) is not None
    there = {path.name: path.read_bytes() for path in room.holding(OTHER)}
    assert {n: c for n, c in there.items() if n in others} == others, "what is of others stays as it was"


async def test_who_was_erased_while_no_page_was_open_leaves_nothing_either(opened: Callable[[], Room]) -> None:
    """At the command line; and after a backup brought kept cases back that only name their case of the records."""
    room = opened()
    room.fill()
    store = room.house.store
    patient = store.cases.view(room.case).patient
    known = erasing.traces(store.patients.events(patient))
    store.patients.erase(patient, "asked for it", "ann")
    erasing.forget(store, [known])
    assert room.holding(HERS) == [] and len(room.holding(OTHER)) >= 3
    room = opened()
    reads("ann")
    key = room.office.take(labelled(HERS))
    case = next(iter(store_cases(room.house)))
    room.office.shelf.note(key, case)
    assert room.office.shelf.settle() == "" and room.holding(HERS)
    erasing.erased_before(room.house)
    assert room.holding(HERS) == []


def store_cases(house: House) -> set[str]:
    return house.store.patients.erased_cases()


def test_a_form_that_became_a_case_is_not_written_again_by_another_window(opened: Callable[[], Room]) -> None:
    room, draft = opened(), Draft.new().with_label(HERS)
    reads("ann")
    room.office.begun.keep("0" * 16, draft)
    assert room.holding(HERS)
    room.office.begun.drop("0" * 16)
    room.office.begun.keep("0" * 16, draft)
    assert room.office.begun.over("0" * 16) and room.holding(HERS) == []
