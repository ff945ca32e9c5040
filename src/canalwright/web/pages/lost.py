"""What an address shows that leads nowhere, and what is shown when the program itself fails: our own page, in the reader's words."""

import logging

from fastapi import Request, Response
from fastapi.exception_handlers import http_exception_handler
from nicegui import Client, app
from nicegui.page import page
from starlette.exceptions import HTTPException

from canalwright.web.markup.html import el, join
from canalwright.web.pages.frame import frame, html
from canalwright.web.prefs import Prefs

log = logging.getLogger(__name__)


def register() -> None:
    """Answer for every address that is no page, and for every fault."""
    app.exception_handler(404)(_lost)
    app.exception_handler(Exception)(_failed)


async def _lost(request: Request, error: Exception) -> Response:
    endpoint = request.scope.get("endpoint")
    if endpoint is not None and endpoint is not app and isinstance(error, HTTPException):
        return await http_exception_handler(request, error)
    return _page(request, 404, "There is no such page", "The address leads nowhere. What you had open is still open.")


async def _failed(request: Request, error: Exception) -> Response:
    if not request.scope.get("nicegui_page_path"):
        raise error  # no page: the server's own short answer
    log.error("a page could not be made", exc_info=error)
    return _page(
        request, 500, "A fault in the program", "This page could not be made. Nothing of yours was changed or lost."
    )


def _page(request: Request, status: int, title: str, about: str) -> Response:
    prefs = Prefs.of(request.cookies)
    words = prefs.words
    with Client(page(""), request=request) as client, frame(prefs, words(title)):
        way = el("p", el("a", words("To the start"), href="/", class_="button main"))
        html(join(el("h1", words(title)), el("p", words(about)), way), kind="narrow")
    return client.build_response(request, status)
