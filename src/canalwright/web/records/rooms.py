"""All record screens as one application, and what they say when something is refused."""

from importlib.resources import files

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from canalwright.records.errors import NotAllowed, NotFound, RecordsError, SessionEnded, SessionLocked
from canalwright.web.markup.html import el, join
from canalwright.web.records import (
    cases,
    chairs,
    checks,
    cleaning,
    door,
    keeping,
    outcomes,
    plans,
    recalls,
    ruling,
    sharing,
)
from canalwright.web.records.asking import Ask, longest
from canalwright.web.records.house import House

__all__ = ["longest", "rooms"]


def rooms(house: House) -> Starlette:
    """The screens, to be mounted at `/records` behind the gate."""
    parts = (door, cases, plans, checks, chairs, recalls, outcomes, keeping, sharing, cleaning, ruling)
    bundled = StaticFiles(directory=str(files("canalwright.web.records").joinpath("static")))
    routes = [Mount("/static", bundled), *(route for part in parts for route in part.routes(house))]

    async def refused(request: Request, error: Exception) -> Response:
        return await run_in_threadpool(_refusal, house, request, error)

    return Starlette(routes=routes, exception_handlers={RecordsError: refused, HTTPException: refused})


def _refusal(house: House, request: Request, error: Exception) -> Response:
    if isinstance(error, SessionEnded):
        return RedirectResponse("/records/sign-in", 303)
    if isinstance(error, SessionLocked):
        return RedirectResponse("/records/unlock", 303)
    status, told = _told(error)
    ask = Ask(house, request)
    words = ask.words
    content = join(
        el("h1", words("That did not work")),
        el("p", words(told), role="alert", class_="problems"),
        el("p", el("a", words("To the cases"), href="/records/", class_="button main")),
    )
    return ask.page("That did not work", content, status=status)


def _told(error: Exception) -> tuple[int, str]:
    if isinstance(error, HTTPException):
        return error.status_code, error.detail if error.status_code != 404 else "There is no such page."
    status = 404 if isinstance(error, NotFound) else 403 if isinstance(error, NotAllowed) else 422
    return status, str(error)
