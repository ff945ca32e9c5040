"""What the browser asks of scans: open, send, state, slices, the straightened canal, find, correct, hand on."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from fastapi import APIRouter, Request, Response

from canalwright import casefile
from canalwright.casefile import CaseError
from canalwright.imaging import ImagingError, voxel_size
from canalwright.imaging.viewing.planes import to_picture
from canalwright.imaging.viewing.reformat import section, straightened
from canalwright.web.data import NO_STORE, answer
from canalwright.web.office import Office
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader
from canalwright.web.scan import telling
from canalwright.web.scan.correcting import correction_of, point_of
from canalwright.web.scan.handing import case_of
from canalwright.web.scan.store import OpenScan
from canalwright.web.scan.uploads import plain_name, take

T = TypeVar("T")
GONE = "this scan is not open any more; open it again"
NO_PATHS = "this server reads no files of its own machine for others; send the scan instead"
REACH, STEP = 6.0, 0.1
ACROSS, ACROSS_STEP = 4.0, 0.05


def routes(office: Office) -> APIRouter:
    """The routes of one office's scans."""
    router, scans = APIRouter(), office.scans

    @router.post("/scan/open")
    async def opened(request: Request) -> Response:
        """Read a file or folder of this machine."""
        said = await _said(request)
        path = Path(str(said.get("path", "")).strip().strip("\"'")).expanduser()
        if not scans.paths:
            return answer({"problems": [Prefs.of(request.cookies).words(NO_PATHS)]}, 403)
        if not path.is_absolute():
            why = f"{path}: give the whole path, from the root of the disk on"
            return answer({"problems": [Prefs.of(request.cookies).words(why)]}, 422)

        def begin() -> OpenScan:
            how, made = _reading(said), scans.receive(plain_name(path.name), reader())
            scans.read(made, path, **how)
            return made

        return await _begun(request, begin)

    @router.post("/scan/practice")
    async def practise(request: Request) -> Response:
        """Make the practice scan."""
        name = Prefs.of(request.cookies).words("Practice scan (invented)")
        return await _begun(request, lambda: scans.practise(name, reader()))

    @router.post("/scan/receive")
    async def receive(request: Request) -> Response:
        """Make room for files that will be sent; how they are to be read is looked at before, not after they were sent."""
        said = await _said(request)

        def begin() -> OpenScan:
            _reading(said)
            return scans.receive(plain_name(str(said.get("name", ""))), reader())

        return await _begun(request, begin)

    @router.post("/scan/{key}/part")
    async def part(request: Request, key: str, number: int, name: str, offset: int) -> Response:
        body = await request.body()
        return await _with(request, key, lambda s: take(s, number, name, offset, body))

    @router.post("/scan/{key}/read")
    async def read(request: Request, key: str) -> Response:
        """All has been sent: read it."""
        said = await _said(request)
        return await _with(request, key, lambda s: scans.read(s, **_reading(said)))

    @router.post("/scan/{key}/close")
    async def close(request: Request, key: str) -> Response:
        return await _with(request, key, scans.close)

    @router.get("/scan/{key}/state.json")
    async def state(request: Request, key: str) -> Response:
        return await _with(request, key, lambda s: telling.state(s, Prefs.of(request.cookies).words))

    @router.get("/scan/{key}/slice/{plane}/{number}")
    async def slice_of(request: Request, key: str, plane: str, number: int) -> Response:
        return await _with(request, key, lambda s: s.planes.picture(plane, number).tobytes())

    @router.post("/scan/{key}/find")
    async def find(request: Request, key: str) -> Response:
        said = await _said(request)
        return await _with(request, key, lambda s: s.tracing.find(scans.hands, s.ready(), point_of(said.get("point"))))

    @router.post("/scan/{key}/correct")
    async def correct(request: Request, key: str) -> Response:
        said = await _said(request)
        return await _with(
            request, key, lambda s: s.tracing.correct(scans.hands, s.ready(), correction_of(said, reader()))
        )

    @router.post("/scan/{key}/cancel")
    async def cancel(request: Request, key: str) -> Response:
        return await _with(request, key, _cancel)

    @router.post("/scan/{key}/undo")
    async def undo(request: Request, key: str) -> Response:
        return await _with(request, key, lambda s: s.tracing.undo())

    @router.post("/scan/{key}/redo")
    async def redo(request: Request, key: str) -> Response:
        return await _with(request, key, lambda s: s.tracing.redo())

    @router.post("/scan/{key}/reference")
    async def refer(request: Request, key: str) -> Response:
        said = await _said(request)
        place = said.get("point")
        return await _with(request, key, lambda s: s.tracing.refer(None if place is None else point_of(place)))

    @router.get("/scan/{key}/canals.json")
    async def canals(request: Request, key: str) -> Response:
        return await _with(request, key, lambda s: telling.canals(s.tracing, Prefs.of(request.cookies).words))

    @router.get("/scan/{key}/surface.json")
    async def surface(request: Request, key: str) -> Response:
        return await _with(request, key, lambda s: telling.surfaces(s.tracing))

    @router.get("/scan/{key}/line/{index}")
    async def line(request: Request, key: str, index: int, turn: float = 0.0) -> Response:
        return await _with(request, key, lambda s: telling.line(s.tracing, index, turn))

    @router.get("/scan/{key}/straight/{index}")
    async def straight(request: Request, key: str, index: int, turn: float = 0.0) -> Response:
        def make(s: OpenScan) -> bytes:
            kept = s.ready()
            greys = straightened(s.planes.scan, s.tracing.line(index), turn, reach=REACH, step=STEP)
            return to_picture(greys.astype(np.float32), kept.tones).tobytes()

        return await _with(request, key, make)

    @router.get("/scan/{key}/across/{index}")
    async def across(request: Request, key: str, index: int, z: float) -> Response:
        def make(s: OpenScan) -> bytes:
            greys = section(s.planes.scan, s.tracing.line(index), z, reach=ACROSS, step=ACROSS_STEP)
            return to_picture(greys.astype(np.float32), s.ready().tones).tobytes()

        return await _with(request, key, make)

    @router.post("/scan/{key}/accept")
    async def accept(request: Request, key: str) -> Response:
        """The canals as they stand become a case; the page goes on to its measurements."""
        said = await _said(request)

        def make(s: OpenScan) -> dict[str, Any]:
            case = case_of(s, said)
            s.places |= {tuple(np.round(c.native.centre[0], 2).tolist()) for c in case.canals}
            return {"go": f"/case/{office.take(case)}/0/measure", "file": casefile.dumps(case)}

        return await _with(request, key, make)

    async def _with(request: Request, key: str, do: Callable[[OpenScan], Any]) -> Response:
        words, opened = Prefs.of(request.cookies).words, scans.get(key, reader())
        if opened is None:
            return answer({"problems": [words(GONE)]}, 404)
        try:
            made = await asyncio.to_thread(do, opened)
        except CaseError as error:
            return answer({"problems": [words(str(problem)) for problem in error.problems]}, 422)
        except (ImagingError, ValueError) as error:
            return answer({"problems": [words(str(error))]}, 422)
        except (IndexError, KeyError):
            return answer({"problems": [words("there is no such picture or canal in this scan")]}, 404)
        if isinstance(made, bytes):
            return Response(made, headers=NO_STORE, media_type="application/octet-stream")
        return answer(made or {})

    return router


async def _said(request: Request) -> dict[str, Any]:
    """What a request says; nothing for what is no JSON object."""
    try:
        said = await request.json()
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


async def _begun(request: Request, begin: Callable[[], OpenScan]) -> Response:
    try:
        made = await asyncio.to_thread(begin)
    except ImagingError as error:
        return answer({"problems": [Prefs.of(request.cookies).words(str(error))]}, 422)
    return answer({"key": made.key})


def _reading(said: dict[str, Any]) -> dict[str, Any]:
    """How to read: the voxel size of pictures (as written, mm) and which series, where they were given.

    Raises ScanError for a voxel size that is none.
    """
    voxel, series = said.get("voxel"), said.get("series")
    return {
        "voxel": voxel_size(str(voxel)) if voxel not in (None, "") else None,
        "series": str(series)[:64] if series else None,
    }


def _cancel(opened: OpenScan) -> None:
    for work in (opened.work, opened.tracing.work):
        if work is not None:
            work.cancel()
