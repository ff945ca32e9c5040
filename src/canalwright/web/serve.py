"""The server: one process on loopback, our routes and the pages behind one guard."""

import contextlib
import threading
import time
import urllib.request
import webbrowser
from collections.abc import AsyncIterator, Callable
from importlib.resources import files

import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from nicegui import ui

from canalwright import planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.web.data import routes
from canalwright.web.guard import Guard
from canalwright.web.office import Office
from canalwright.web.pages import register

HOST = "127.0.0.1"
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24"><path d="M6 2q4 9 5 20M18 2q-4 9-5 20" fill="none" '
    'stroke="#4b8f93" stroke-width="2" stroke-linecap="round"/><path d="M12 9v9" stroke="#d4714f" stroke-width="3" '
    'stroke-linecap="round"/></svg>'
)


def serve(case: Case | None, tray: Tray, port: int, show: bool) -> None:
    """Serve the page on 127.0.0.1 until it is stopped; `case` opens with it, `show` opens the browser too."""
    office = Office.of(tray)
    path = f"/case/{office.shelf.put(case)}/0/plan" if case is not None else "/"
    address = f"http://{HOST}:{port}{path}"
    print(f"canalwright: {address}  (this machine only; stop with Ctrl-C)", flush=True)  # noqa: T201
    planning.warm_up()
    if show:
        _open_when_ready(address, port)
    config = uvicorn.Config(
        Guard(application(office), port),
        host=HOST,
        port=port,
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run()


def application(office: Office) -> FastAPI:
    """Routes, bundled files and pages of one office."""

    @contextlib.asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        office.bench.close()

    app = FastAPI(title="canalwright", docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan)
    app.include_router(routes(office))
    app.mount("/static", StaticFiles(directory=str(files("canalwright.web").joinpath("static"))), "static")
    register(office)
    ui.run_with(
        app,
        title="canalwright",
        favicon=ICON,
        language="en-US",
        dark=False,
        tailwind=False,
        show_welcome_message=False,
        reconnect_timeout=10.0,
    )
    return app


def _open_when_ready(address: str, port: int) -> None:
    def wait(ready: Callable[[], bool]) -> None:
        for _ in range(100):
            if ready():
                webbrowser.open(address)
                return
            time.sleep(0.1)

    def ready() -> bool:
        with contextlib.suppress(OSError), urllib.request.urlopen(f"http://{HOST}:{port}/ready", timeout=1):
            return True
        return False

    threading.Thread(target=wait, args=(ready,), daemon=True).start()
