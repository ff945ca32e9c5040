"""What the chair's screen asks and tells: begin, state, events, the picture of the simulated tooth."""

from collections.abc import Awaitable, Callable

from fastapi import APIRouter, Request, Response

from canalwright.casefile import CaseError
from canalwright.guide.log import event_of
from canalwright.planning import PlanError
from canalwright.web.chair import Chair, as_json, state
from canalwright.web.chairbook import ChairbookError
from canalwright.web.choosing import from_query, to_query
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs

NO_STORE = {"cache-control": "no-store"}


def routes(office: Office) -> APIRouter:
    """The routes of one office's chairs."""
    router, chairs = APIRouter(), office.chairs

    @router.post("/case/{key}/{index}/begin")
    async def begin(request: Request, key: str, index: int, practice: bool = False) -> Response:
        case = office.found(key, index)
        if case is None:
            return _told({"problems": ["this case is not open any more; open its file again"]}, 404)
        query = {name: request.query_params.getlist(name) for name in request.query_params}
        ident = chairs.begin(case, index, to_query(from_query(query, office.tray)), practice=practice)
        return _told({"go": f"/chair/{ident}"})

    @router.get("/chair/{ident}/state.json")
    async def now(request: Request, ident: str) -> Response:
        return await _with(lambda: chairs.get(ident), request)

    @router.post("/chair/{ident}/events")
    async def happened(request: Request, ident: str) -> Response:
        try:
            told = dict(await request.json())
            event = event_of(told)
        except (ValueError, TypeError, KeyError, RecursionError) as error:
            return _told({"problems": [f"not an event: {error}"]}, 422)
        return await _with(lambda: chairs.tell(ident, event), request)

    @router.get("/chair/{ident}/tooth.svg")
    async def tooth(ident: str) -> Response:
        try:
            return Response(await chairs.picture(await chairs.get(ident)), media_type="image/svg+xml", headers=NO_STORE)
        except (ChairbookError, CaseError, PlanError) as error:
            return _told({"problems": [str(error)]}, 404)

    return router


async def _with(ask: Callable[[], Awaitable[Chair]], request: Request) -> Response:
    try:
        return _told(state(await ask(), Prefs.of(request.cookies)))
    except (ChairbookError, CaseError, PlanError) as error:
        return _told({"problems": [str(error)]}, 404)


def _told(content: dict[str, object], status: int = 200) -> Response:
    return Response(as_json(content), status, NO_STORE, "application/json")
