"""The record screens behind guard and gate as the requests of one browser meet them, and a house with four users; fixtures for tests."""

import re
from collections.abc import AsyncIterator, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from canalwright import casefile
from canalwright.records import Kind, Passphrase, Store
from canalwright.records.accounts import Role
from canalwright.web.guard import Guard
from canalwright.web.office import Office
from canalwright.web.reader import reader
from canalwright.web.records.gate import Gate
from canalwright.web.records.house import House
from canalwright.web.records.rooms import longest, rooms
from tests.records.conftest import CHEAP, Clock

SECRET, GOOD, NEW = "green teapot walks over rivers", "violet bicycle under a bridge", "orange kettle beyond the hill"
PLACE = "http://127.0.0.1:8765"
FILM = b"\xff\xd8\xff invented film"


class Browser:
    """One browser: cookies, origin, the forms of the page last seen."""

    def __init__(self, house: House, base: str = PLACE) -> None:
        app = Guard(Gate(self.more(house), house), 8765, most=longest)
        self.client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app, client=("127.0.0.1", 5000)),
            base_url=base,
            headers={"accept": "text/html"},
        )
        self.page = httpx.Response(200)

    def more(self, house: House) -> FastAPI:
        """What lies behind the gate."""

        async def elsewhere(request: Request) -> Response:
            house.office.shelf.put(casefile.demo_case())
            return PlainTextResponse(f"{reader()} {len(house.office.shelf.listed())}")

        inner = FastAPI()
        inner.mount("/records", rooms(house))
        inner.add_route("/shelf", elsewhere)
        return inner

    async def get(self, path: str) -> httpx.Response:
        self.page = await self.client.get(path, follow_redirects=True)
        return self.page

    async def send(self, path: str, files: Any = None, **fields: Any) -> httpx.Response:
        token = re.search(r'name="csrf" value="(\w+)"', self.page.text)
        data = {"csrf": token[1] if token else "", **fields}
        self.page = await self.client.post(
            path,
            data=data,
            files=files,
            headers={"origin": str(self.client.base_url).rstrip("/")},
            follow_redirects=True,
        )
        return self.page

    async def sign_in(self, name: str = "ann", password: str = GOOD, code: str = "") -> httpx.Response:
        await self.get("/records/sign-in")
        return await self.send("/records/sign-in", name=name, password=password, code=code)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def house(tmp_path: Path, clock: Clock) -> Iterator[House]:
    with Store.create(tmp_path / "records", Passphrase(SECRET), cost=CHEAP, clock=clock) as store:
        office = Office.of(casefile.generic_tray())
        made = House.of(store, office, cost=CHEAP)
        made.door.users.first("ann", GOOD)
        for name, role in (("stu", Role.STUDENT), ("eve", Role.STUDENT), ("rea", Role.READER)):
            made.door.users.add(name, role, GOOD, "ann")
            made.door.users.set_password(name, GOOD)
        made.first_key = ""
        yield made
        office.bench.close()


@pytest.fixture
async def browser(house: House) -> AsyncIterator[Browser]:
    made = Browser(house)
    async with made.client:
        yield made


@pytest.fixture
async def ann(browser: Browser) -> Browser:
    assert (await browser.sign_in()).status_code == 200
    return browser


def filled_case(house: House, operator: str = "ann", days: int = 700) -> str:
    store = house.store
    case = store.cases.open(store.patients.add("ann"), {"tooth": 46, "index_before": 4, "operator": operator}, "ann")
    on = store.vault.clock().date() - timedelta(days=days)
    store.cases.record(case, Kind.CHECK, {"on": on.isoformat()}, "ann")
    return case
