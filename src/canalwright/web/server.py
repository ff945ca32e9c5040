"""The server: one process, on loopback unless told otherwise, our routes and the pages behind one guard."""

import contextlib
import socket
import threading
import time
import webbrowser
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from typing import TYPE_CHECKING

import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from nicegui import ui

from canalwright import planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.web import chair_routes, heat_routes, memory, moving_routes
from canalwright.web.begun import Begun
from canalwright.web.book import Book
from canalwright.web.chairbook import data_folder
from canalwright.web.checks import routes as check_routes
from canalwright.web.data import routes
from canalwright.web.greeting import Greeting
from canalwright.web.guard import App, Guard
from canalwright.web.office import Office
from canalwright.web.pages import register
from canalwright.web.place import CIPHERS, Place
from canalwright.web.radiographs import routes as radiograph_routes
from canalwright.web.scan import routes as scan_routes
from canalwright.web.scan.store import sweep
from canalwright.web.shelf import Shelf

if TYPE_CHECKING:
    from canalwright.records import Store
    from canalwright.web.records.house import House

ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24"><path d="M6 2q4 9 5 20M18 2q-4 9-5 20" fill="none" '
    'stroke="#4b8f93" stroke-width="2" stroke-linecap="round"/><path d="M12 9v9" stroke="#d4714f" stroke-width="3" '
    'stroke-linecap="round"/></svg>'
)


def serve(case: Case | None, tray: Tray, place: Place, show: bool, store: "Store | None" = None) -> None:
    """See `canalwright.web.serve`."""
    listening = place.listen()
    memory.frugal()
    office = Office.of(tray)
    office.scans.paths = not place.outside
    house = _house(store, office, place) if store is not None else None
    if house is None:
        book, forms = Book(data_folder() / "cases"), Book(data_folder() / "forms")
        book.forget_old(time.time())
        forms.forget_old(time.time())
        office.shelf, office.begun = Shelf(book), Begun(forms)
        office.listed()
    path = f"/case/{office.put(case)}/0/plan" if case is not None and house is None else "/"
    if house is not None and house.first_key:
        path = f"/records/first?key={house.first_key}"
    address = f"{place.address}{path}"
    where = "other machines can reach it" if place.outside else "this machine only"
    print(f"canalwright: {address}  ({where}; stop with Ctrl-C)", flush=True)  # noqa: T201
    planning.warm_up()
    office.bench.warm_up()
    sweep()
    office.radiographs.book.forget_old(time.time())
    if show:
        _open_when_ready(address, place)
    app = guarded(office, place, house)
    memory.settle()
    config = uvicorn.Config(
        app,
        host=place.host,
        port=place.port,
        ssl_certfile=place.certificate,
        ssl_keyfile=place.key,
        ssl_ciphers=CIPHERS,
        log_level="warning",
        server_header=False,
        proxy_headers=False,
        ws_per_message_deflate=place.outside,  # on this machine packing takes longer than sending
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run([listening])


def guarded(office: Office, place: Place, house: "House | None" = None) -> Guard:
    """The whole page behind its guard, and behind the gate where records are open."""
    app: App = application(office, house)
    if house is None:
        return Guard(Greeting(app), place.port, names=place.names)
    from canalwright.web.records.gate import Gate
    from canalwright.web.records.rooms import longest

    return Guard(Greeting(Gate(app, house)), place.port, names=place.names, outside=place.outside, most=longest)


def application(office: Office, house: "House | None" = None) -> FastAPI:
    """Routes, bundled files and pages of one office, and the screens of the records where they are open."""

    @contextlib.asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        office.bench.close()
        office.scans.shut()

    app = FastAPI(title="canalwright", docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan)
    app.include_router(routes(office))
    app.include_router(heat_routes.routes(office))
    app.include_router(chair_routes.routes(office))
    app.include_router(moving_routes.routes(office))
    app.include_router(scan_routes.routes(office))
    app.include_router(radiograph_routes(office.radiographs, office.bench))
    app.include_router(check_routes(office.checks))
    app.mount("/three", StaticFiles(directory=str(files("nicegui.elements.scene").joinpath("dist"))), "three")
    app.mount("/static", StaticFiles(directory=str(files("canalwright.web").joinpath("static"))), "static")
    if house is not None:
        from canalwright.web.records.rooms import rooms

        app.mount("/records", rooms(house), "records")
        ui.add_head_html('<script defer src="/records/static/watch.js"></script>', shared=True)
    register(office)
    ui.run_with(
        app,
        title="canalwright",
        favicon=ICON,
        language=None,  # each page says its own
        dark=False,
        tailwind=False,
        show_welcome_message=False,
        reconnect_timeout=10.0,
    )
    return app


def _house(store: "Store", office: Office, place: Place) -> "House":
    """The records with their backups; made only where there are records, since that room takes a while to load."""
    from canalwright.web.records.house import House
    from canalwright.web.records.nightly import Nightly

    house = House.of(store, office, secure=place.certificate is not None)
    Nightly(house).start()
    return house


def _open_when_ready(address: str, place: Place) -> None:
    def wait(ready: Callable[[], bool]) -> None:
        for _ in range(100):
            if ready():
                webbrowser.open(address)
                return
            time.sleep(0.1)

    def ready() -> bool:
        with contextlib.suppress(OSError), socket.create_connection((place.host, place.port), timeout=1):
            return True
        return False

    threading.Thread(target=wait, args=(ready,), daemon=True).start()
