"""What the chair's screen asks and tells: begin, state, events, an edit of the case meanwhile, the simulated tooth's picture."""

import time
from collections.abc import Awaitable, Callable

from fastapi import APIRouter, Request, Response

from canalwright.casefile import Case, CaseError
from canalwright.guide import NOTE, Event
from canalwright.guide.log import event_of
from canalwright.planning import PlanError
from canalwright.web.chair import Chair, older
from canalwright.web.chairbook import ChairbookError, NotWritten
from canalwright.web.chairsaid import as_json, state
from canalwright.web.chairwhere import answer
from canalwright.web.choosing import from_query, query_of, to_query
from canalwright.web.data import gone
from canalwright.web.gone import ERASED
from canalwright.web.held import KEY
from canalwright.web.markup.picture import told as in_words
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs

KEPT = "the case was edited; this plan was kept"
NO_STORE = {"cache-control": "no-store"}


def routes(office: Office) -> APIRouter:
    """The routes of one office's chairs."""
    router, chairs = APIRouter(), office.chairs

    async def said(ask: Callable[[], Awaitable[Chair]], request: Request) -> Response:
        try:
            chair = await ask()
        except NotWritten as error:
            return unwritten(error, request)
        except (ChairbookError, CaseError, PlanError) as error:
            return lost(request, error)
        key, _ = edited(chair)
        return told(state(chair, Prefs.of(request.cookies)) | {"older": bool(key) and key != chair.kept})

    @router.post("/case/{key}/{index}/begin")
    async def begin(request: Request, key: str, index: int, practice: bool = False) -> Response:
        case = office.found(key, index)
        if case is None:
            return gone(office, key, request)
        query = query_of(request)
        try:
            choices, record = to_query(from_query(query, office.tray)), office.shelf.came_from(key)
            ident = chairs.begin(case, index, choices, practice=practice, record=record)
        except NotWritten as error:
            return unwritten(error, request)
        if office.found(key, index) is None:  # it was erased meanwhile
            chairs.book.drop(ident)
            return gone(office, key, request)
        return told({"go": f"/chair/{ident}"})

    @router.get("/chair/{ident}/state.json")
    async def now(request: Request, ident: str) -> Response:
        return await said(lambda: chairs.get(ident), request)

    @router.post("/chair/{ident}/events")
    async def happened(request: Request, ident: str) -> Response:
        try:
            event = event_of(dict(await request.json()))
        except (ValueError, TypeError, KeyError, RecursionError) as error:
            return told({"problems": [f"not an event: {error}"]}, 422)
        return await said(lambda: chairs.tell(ident, event), request)

    def edited(chair: Chair) -> tuple[str, Case | None]:
        """What the session's case was changed into since, where that concerns what is left to do."""
        key = office.shelf.newer(chair.case.digest[:KEY])
        case = office.shelf.get(key) if key else None
        return (key, case) if case is not None and older(chair, case) else ("", None)

    @router.post("/chair/{ident}/keep")
    async def keep(request: Request, ident: str) -> Response:
        async def kept() -> Chair:
            chair = await chairs.get(ident)
            chair.kept, case = edited(chair)
            return await chairs.tell(ident, Event(NOTE, time.time(), text=KEPT)) if case is not None else chair

        return await said(kept, request)

    @router.post("/chair/{ident}/replan")
    async def replan(request: Request, ident: str) -> Response:
        try:
            _, case = edited(await chairs.get(ident))
            return told({"go": f"/chair/{await chairs.replan(ident, case) if case is not None else ident}"})
        except NotWritten as error:
            return unwritten(error, request)
        except (ChairbookError, CaseError, PlanError) as error:
            return lost(request, error, 409)

    @router.get("/chair/{ident}/where/{what}")
    async def where(request: Request, ident: str, what: str) -> Response:
        try:
            found = answer(await chairs.get(ident), what, Prefs.of(request.cookies).words)
        except (ChairbookError, CaseError, PlanError) as error:
            return lost(request, error)
        return told({"told": found or ""})

    @router.get("/chair/{ident}/tooth.svg")
    async def tooth(request: Request, ident: str) -> Response:
        try:
            drawn = in_words(await chairs.picture(await chairs.get(ident)), Prefs.of(request.cookies).words)
            return Response(drawn, media_type="image/svg+xml", headers=NO_STORE)
        except (ChairbookError, CaseError, PlanError) as error:
            return lost(request, error)

    def lost(request: Request, error: Exception, status: int = 404) -> Response:
        """Why a session cannot go on, in the reader's words; 410 where it was erased with its person."""
        erased = request.path_params["ident"] in office.gone
        why = Prefs.of(request.cookies).words(ERASED if erased else str(error))
        return told({"problems": [why]}, 410 if erased else status)

    return router


def unwritten(error: NotWritten, request: Request) -> Response:
    """That the disk took nothing, in the reader's words."""
    words = Prefs.of(request.cookies).words
    return told({"problems": [words("Not recorded: {why}", why=words(str(error)))]}, 507)


def told(content: dict[str, object], status: int = 200) -> Response:
    """An answer that is never kept."""
    return Response(as_json(content), status, NO_STORE, "application/json")
