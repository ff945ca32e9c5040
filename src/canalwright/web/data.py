"""What the browser fetches beside the pages: the film, the card, the plan as JSON, the case file; and what it sends: a case file."""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any

from fastapi import APIRouter, Request, Response

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.planning import Choices, PlanError
from canalwright.report import card_pdf, plan_json
from canalwright.report.solid import solid
from canalwright.report.stations import stations
from canalwright.web.archive import packed, restored
from canalwright.web.choosing import from_query, query_of
from canalwright.web.film import film
from canalwright.web.gone import ERASED
from canalwright.web.markup.picture import colours, tongue
from canalwright.web.markup.shell import AS_NOW, OLDER
from canalwright.web.markup.zoom import sources
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs
from canalwright.web.shelf import CLOSED, ShelfFull

log = logging.getLogger(__name__)
NO_STORE = {"cache-control": "no-store"}
MOST_NAME = 80


def routes(office: Office) -> APIRouter:
    """The routes of one office."""
    router = APIRouter()

    @router.get("/colours.css")
    async def sheet() -> Response:
        return Response(colours(), media_type="text/css", headers={"cache-control": "max-age=3600"})

    @router.get("/ready")
    async def ready() -> Response:
        return Response("ready", media_type="text/plain")

    @router.post("/open")
    async def opened(request: Request, name: str = "case file") -> Response:
        """Take in a case file; its name is told in errors and used for nothing else."""
        shown = "".join(c for c in name if c.isprintable())[:MOST_NAME] or "case file"
        try:
            text = (await request.body()).decode("utf-8")
        except UnicodeDecodeError:
            return answer({"problems": [f"{shown}: not a text file in UTF-8; save the case as TOML in UTF-8"]}, 422)
        try:
            case = await office.bench.aside(casefile.loads, text, shown)
        except casefile.CaseError as error:
            words = Prefs.of(request.cookies).words
            return answer({"problems": [words(str(problem)) for problem in error.problems]}, 422)
        try:
            return answer({"go": f"/case/{office.take(case)}/0/plan"})
        except ShelfFull as error:
            return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 409)

    @router.post("/open-archive")
    async def brought(request: Request, name: str = "archive") -> Response:
        """Take in an archive of a case; its name is told in errors and used for nothing else."""
        shown = "".join(c for c in name if c.isprintable())[:MOST_NAME] or "archive"
        try:
            back = await asyncio.to_thread(restored, await request.body(), shown, office.chairs.book)
        except casefile.CaseError as error:
            words = Prefs.of(request.cookies).words
            return answer({"problems": [words(str(problem)) for problem in error.problems]}, 422)
        try:
            key = office.take(back.case)
        except ShelfFull as error:
            return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 409)
        for kept in back.films:
            film = office.radiographs.back(kept.film, kept.picture, kept.marks, key, kept.use)
            if wrong := await office.film_unkept(film):
                log.warning("%s", wrong)  # it is open, and in the archive
        return answer({"go": f"/case/{key}/0/plan"})

    @router.post("/case/{key}/close")
    async def closed(key: str) -> Response:
        """Take a case off the shelf, and off the disk with its radiographs."""
        await asyncio.to_thread(office.close, key)
        return answer({"go": "/"})

    @router.post("/measure/{name}/close")
    async def given_up(name: str) -> Response:
        """Take a form that was begun away."""
        await asyncio.to_thread(office.begun.drop, name)
        return answer({"go": "/"})

    @router.get("/case/{key}/newer.json")
    async def newer(request: Request, key: str) -> Response:
        """Whether a case was changed since, in another window perhaps, and into what; and why it is not kept, where it is not."""
        if office.why_gone(key):
            return answer({"gone": True})
        words, found = Prefs.of(request.cookies).words, office.shelf.newer(key)
        said = {
            "text": words(OLDER),
            "link": words(AS_NOW),
        }
        why = await office.unkept()
        unkept = words("This case would be lost with the program: {why}", why=words(why)) if why else ""
        return answer({"newer": found, "unkept": unkept} | (said if found else {}))

    @router.get("/case/{key}/case.zip")
    async def bundled(request: Request, key: str) -> Response:
        """The case, its sessions, radiographs and checks; card, plan and section of every canal with the planner's choices."""
        case = office.found(key, 0)
        if case is None:
            return gone(office, key, request)
        try:
            filled = [await office.bench.story(case, i, Choices()) for i in range(len(case.canals))]
            films = office.radiographs.of(office.shelf.line(key))
            checks = [found for i in range(len(case.canals)) if (found := office.checks.get(key, i)) is not None]
            data = await asyncio.to_thread(
                packed, case, filled, office.chairs.book, films, checks, tongue(Prefs.of(request.cookies).words)
            )
        except (PlanError, casefile.CaseError) as error:
            return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 422)
        return _file(data, "application/zip", f"case-{case.tooth.code}.zip")

    @router.get("/case/{key}/{index}/film.json")
    async def played(request: Request, key: str, index: int) -> Response:
        async def make(case: Case, choices: Choices) -> Response:
            plan, story = await office.bench.story(case, index, choices)
            return answer(await office.bench.aside(film, plan, story, Prefs.of(request.cookies).words))

        return await _of(office, request, key, index, make)

    @router.get("/case/{key}/{index}/solid.json")
    async def shaped(request: Request, key: str, index: int) -> Response:
        """The shapes for three dimensions."""
        case = office.found(key, index)
        if case is None:
            return gone(office, key, request)
        return answer(await office.bench.aside(solid, case.canals, index))

    @router.get("/case/{key}/{index}/stations.json")
    async def levels(request: Request, key: str, index: int) -> Response:
        """What a cursor on the section says."""
        case = office.found(key, index)
        if case is None:
            return gone(office, key, request)
        told = await office.bench.aside(stations, case.canals[index])
        return answer(told | {"sources": sources(case.canals[index], Prefs.of(request.cookies).words)})

    @router.get("/case/{key}/{index}/card.pdf")
    async def carded(request: Request, key: str, index: int) -> Response:
        async def make(case: Case, choices: Choices) -> Response:
            plan, story = await office.bench.story(case, index, choices)
            read = tongue(Prefs.of(request.cookies).words)
            pdf = await office.bench.aside(partial(card_pdf, label=case.label, tongue=read), plan, story)
            return _file(pdf, "application/pdf", f"card-{plan.canal.tooth.code}-{_plain(plan.canal.name)}.pdf")

        return await _of(office, request, key, index, make)

    @router.get("/case/{key}/{index}/plan.json")
    async def planned(request: Request, key: str, index: int) -> Response:
        async def make(case: Case, choices: Choices) -> Response:
            plan = await office.bench.plan(case, index, choices)
            text = json.dumps(plan_json(plan), indent=2, allow_nan=False)
            return _file(
                text.encode(), "application/json", f"plan-{plan.canal.tooth.code}-{_plain(plan.canal.name)}.json"
            )

        return await _of(office, request, key, index, make)

    @router.get("/case/{key}/case.toml")
    async def saved(request: Request, key: str) -> Response:
        case = office.found(key, 0)
        if case is None:
            return gone(office, key, request)
        return _file(casefile.dumps(case).encode(), "application/toml", f"case-{case.tooth.code}.toml")

    return router


async def _of(
    office: Office, request: Request, key: str, index: int, make: Callable[[Case, Choices], Awaitable[Response]]
) -> Response:
    case = office.found(key, index)
    if case is None:
        return gone(office, key, request)
    query = query_of(request)
    try:
        return await make(case, from_query(query, office.tray))
    except PlanError as error:
        return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 422)


def gone(office: Office, key: str, request: Request) -> Response:
    """Why what was asked for is not there: 410 where it was erased with its person, else 404."""
    why = office.why_gone(key) or CLOSED
    return answer({"problems": [Prefs.of(request.cookies).words(why)]}, 410 if why == ERASED else 404)


def answer(content: dict[str, Any], status: int = 200) -> Response:
    """JSON that is kept nowhere."""
    text = json.dumps(content, allow_nan=False, separators=(",", ":"))
    return Response(text, status, NO_STORE, "application/json")


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(
        content, headers=NO_STORE | {"content-disposition": f'attachment; filename="{name}"'}, media_type=kind
    )


def _plain(name: str) -> str:
    """A name that is safe in a header and on any disk."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in name)[:40]
