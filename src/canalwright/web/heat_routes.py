"""What the heat page asks for: start a run, how far it is, give it up, its film to play, its numbers and table, its file."""

import asyncio
import base64
import tempfile
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import numpy as np
from fastapi import APIRouter, Request, Response

from canalwright.heat.solid.animate import animate
from canalwright.planning import PlanError
from canalwright.report.words import act_words
from canalwright.web.choosing import from_query, query_of
from canalwright.web.data import NO_STORE, answer, gone
from canalwright.web.heatruns import Asked, HeatRun, HeatRuns
from canalwright.web.markup.heat import results
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs

KINDS = {"gif": "image/gif", "png": "image/apng"}


def routes(office: Office) -> APIRouter:
    """The routes of one office; runs live as long as it does."""
    router, runs = APIRouter(prefix="/case/{key}/{index}/heat"), HeatRuns(office.scans.hands)

    async def of(request: Request, key: str, index: int, make: Callable[[Asked], Awaitable[Response]]) -> Response:
        case = office.found(key, index)
        if case is None:
            return gone(office, key, request)
        query = query_of(request)
        return await make((case.digest, index, from_query(query, office.tray)))

    @router.post("/run")
    async def run(request: Request, key: str, index: int) -> Response:
        async def make(asked: Asked) -> Response:
            case = office.found(key, index)
            assert case is not None  # `of` has looked
            try:
                plan = await office.bench.plan(case, index, asked[2])
            except PlanError as error:
                return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 422)
            return answer(_state(runs.start(asked, plan), request))

        return await of(request, key, index, make)

    @router.get("/state.json")
    async def state(request: Request, key: str, index: int) -> Response:
        async def make(asked: Asked) -> Response:
            runs.warm_up()
            return answer(_state(runs.get(asked), request))

        return await of(request, key, index, make)

    @router.get("/there.json")
    async def there(request: Request, key: str, index: int) -> Response:
        """Whether there is a film of a run, and its greatest rise on the root surface with the interval once that is known."""

        async def make(asked: Asked) -> Response:
            found = runs.get(asked)
            rise = None
            if found is not None and found.doubt is not None:
                rise = [round(float(v), 2) for v in (found.doubt.rise[0], *found.doubt.interval("rise"))]
            return answer({"film": found is not None and found.play is not None, "rise": rise})

        return await of(request, key, index, make)

    @router.post("/give-up")
    async def give_up(request: Request, key: str, index: int) -> Response:
        async def make(asked: Asked) -> Response:
            case = office.found(key, index)
            assert case is not None  # `of` has looked
            office.bench.cancel(case, index, asked[2])
            runs.give_up(asked)
            return answer(_state(None, request))

        return await of(request, key, index, make)

    @router.get("/film.json")
    async def film(request: Request, key: str, index: int) -> Response:
        async def make(asked: Asked) -> Response:
            found = runs.get(asked)
            if found is None or found.play is None:
                return answer({"problems": ["nothing has been run yet"]}, 404)
            return answer(await asyncio.to_thread(_film, found, request))

        return await of(request, key, index, make)

    @router.get("/results.html")
    async def told(request: Request, key: str, index: int) -> Response:
        async def make(asked: Asked) -> Response:
            found = runs.get(asked)
            if found is None or found.story is None or found.doubt is None:
                return answer({"problems": ["nothing has been run yet"]}, 404)
            words, front = Prefs.of(request.cookies).words, found.plan.rounds[-1].front if found.plan.rounds else None
            text = results(found.story, found.doubt, found.choices, words, front)
            return Response(text, 200, NO_STORE, "text/html")

        return await of(request, key, index, make)

    @router.get("/film.{kind}")
    async def file(request: Request, key: str, index: int, kind: str) -> Response:
        async def make(asked: Asked) -> Response:
            found = runs.get(asked)
            if kind not in KINDS or found is None or found.story is None:
                return answer({"problems": ["nothing has been run yet"]}, 404)
            data = await asyncio.to_thread(_file, found, kind)
            name = f'attachment; filename="heat.{kind}"'
            return Response(data, 200, NO_STORE | {"content-disposition": name}, KINDS[kind])

        return await of(request, key, index, make)

    return router


def _state(run: HeatRun | None, request: Request) -> dict[str, Any]:
    words = Prefs.of(request.cookies).words
    if run is None:
        return {"state": "none"}
    work, kind = run.work, {"failed": "fault", "done": "done"}.get(run.work.state, "running")
    return {
        "state": kind, "share": 1.0 if kind == "done" else round(work.share or 0.0, 3), "doing": words(work.told or "waiting its turn"),
        "fault": words(work.error) if work.error else "", "film": run.play is not None,
    }  # fmt: skip


def _film(run: HeatRun, request: Request) -> dict[str, Any]:
    """Temperatures in steps of half a kelvin from 20 deg C (sections) and a tenth from 32 (surface), as bytes in base64."""
    assert run.play is not None and run.story is not None  # asked before
    words, play, canal = Prefs.of(request.cookies).words, run.play, run.plan.canal
    return {
        "time": [round(float(t), 2) for t in play.time],
        "act": [int(a) for a in play.act],
        "acts": [words(act_words(a.act, canal)) for a in run.story.acts],
        "sections": [
            {"shape": list(f.shape[1:]), "frames": _bytes((f - 20.0) * 2), "lines": _bytes(line)}
            for f, line in zip(play.sections, play.lines, strict=True)
        ],
        "bands": list(play.surface.shape[1:]),
        "band": play.band,
        "length": round(canal.length.value, 3),
        "surface": _bytes((play.surface - 32.0) * 10),
        "fields": {
            "rise": [round(float(v), 3) for v in play.rise.ravel()],
            "above_47": [round(float(v), 2) for v in play.above_47.ravel()],
            "cem43": [float(f"{v:.4g}") for v in play.cem43.ravel()],
        },
    }  # fmt: skip


def _bytes(values: Any) -> str:
    return base64.b64encode(np.clip(np.rint(values), 0, 255).astype(np.uint8).tobytes()).decode()


def _file(run: HeatRun, kind: str) -> bytes:
    assert run.story is not None  # asked before
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"heat.{kind}"
        return animate(run.story, path, caution="not a certified device; check every number").read_bytes()
