"""What the play page asks for about its moving picture: start it, how far it is, give it up, fetch it."""

from typing import Any

from fastapi import APIRouter, Request, Response

from canalwright.casefile import Case
from canalwright.planning import PlanError
from canalwright.web.bench import Asked
from canalwright.web.choosing import from_query, query_of
from canalwright.web.data import NO_STORE, answer, gone
from canalwright.web.hands import Work
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs


def routes(office: Office) -> APIRouter:
    """The routes of one office."""
    pictures, found, tray = office.moving, office.found, office.tray
    router = APIRouter(prefix="/case/{key}/{index}/moving")

    def asked_of(request: Request, case: Case, index: int) -> Asked:
        query = query_of(request)
        return case.digest, index, from_query(query, tray)

    @router.post("/start")
    async def start(request: Request, key: str, index: int) -> Response:
        case = found(key, index)
        if case is None:
            return gone(office, key, request)
        try:
            work = await pictures.start(case, index, asked_of(request, case, index)[2])
        except PlanError as error:
            return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 422)
        return answer(_state(work, request))

    @router.get("/state.json")
    async def state(request: Request, key: str, index: int) -> Response:
        case = found(key, index)
        if case is None:
            return gone(office, key, request)
        return answer(_state(pictures.state(asked_of(request, case, index)), request))

    @router.post("/cancel")
    async def cancel(request: Request, key: str, index: int) -> Response:
        case = found(key, index)
        if case is None:
            return gone(office, key, request)
        work = pictures.state(asked_of(request, case, index))
        if work is not None:
            work.cancel()
        return answer(_state(work, request))

    @router.get("/picture.gif")
    async def fetch(request: Request, key: str, index: int) -> Response:
        case = found(key, index)
        made = pictures.picture(asked_of(request, case, index)) if case is not None else None
        if case is None or made is None:
            return answer({"problems": ["no moving picture has been made yet"]}, 404)
        name = f'attachment; filename="filling-{case.tooth.code}.gif"'
        return Response(made, 200, NO_STORE | {"content-disposition": name}, "image/gif")

    return router


def _state(work: Work | None, request: Request) -> dict[str, Any]:
    words = Prefs.of(request.cookies).words
    if work is None:
        return {"state": "none"}
    told = words(work.told) if work.told else ""
    return {"state": work.state, "share": work.share, "told": told, "error": words(work.error) if work.error else ""}
