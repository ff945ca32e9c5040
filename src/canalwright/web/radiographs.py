"""Radiographs that are open in the page: read once, in memory for their reader alone, with the marks made on them (on the disk: `films`).

A file that was sent lies on this machine's disk only while it is read, in a folder that only this user may open. What the browser gets
is the picture's greys made anew (see `imaging.radiograph.shown`), nothing else of the file. A film belongs to the case that it was loaded
for: `Radiographs.of` finds it again under every case that was made from that one.
"""

import secrets
import tempfile
from collections import OrderedDict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.radiograph.marks import Marks, Point
from canalwright.imaging.radiograph.read import read_film
from canalwright.imaging.radiograph.shown import Shown, shown
from canalwright.web.bench import Bench
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader

MOST_BYTES = 48 * 1024 * 1024
MOST_OPEN = 12
PATH = "/radiograph"
MOST_MARKS = {"known": 12, "canal": 40, "pair": 2}


@dataclass(frozen=True)
class Use:
    """What a film is for: a canal by its name, measuring (first or second film, `slot`) or the check of its filling.

    As they were typed: how the tube was moved for the second film; what the check was told of the crown, and where a filling should end.
    """

    canal: str = ""
    what: Literal["measure", "check"] = "measure"
    slot: int = 0
    angle: str = "20"
    towards: str = "right"
    band: str = "two"
    crown: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Open:
    """One open radiograph, its marks, and the key of the case that it was loaded for."""

    name: str
    film: Film
    picture: Shown
    owner: str
    marks: Marks = field(default_factory=Marks)
    case: str = ""
    use: Use = field(default_factory=Use)

    def told(self, key: str) -> dict[str, Any]:
        """What the browser is told of it."""
        rows, columns = self.film.size
        height, width = self.picture.greys.shape
        return {
            "id": key, "name": self.name, "rows": rows, "columns": columns, "height": height, "width": width,
            "step": self.picture.step, "low": self.picture.low, "high": self.picture.high, "marks": marks_told(self.marks),
        }  # fmt: skip


@dataclass
class Radiographs:
    """Open radiographs by key; the one not looked at longest goes first when there are too many."""

    most: int = MOST_OPEN
    _open: "OrderedDict[str, Open]" = field(default_factory=OrderedDict)

    def put(self, name: str, film: Film, picture: Shown) -> str:
        """Keep a film for the reader who sent it."""
        key = secrets.token_hex(8)
        self._take(key, Open(name, film, picture, reader()))
        return key

    def _take(self, key: str, film: Open) -> None:
        self._open[key] = film
        while len(self._open) > self.most:
            self._open.popitem(last=False)

    def get(self, key: str) -> Open | None:
        """A film of the reader's, or None where it is not open."""
        found = self._open.get(key)
        if found is None or found.owner != reader():
            return None
        self._open.move_to_end(key)
        return found

    def forget(self, owner: str) -> None:
        """Close a reader's films."""
        for key in [k for k, film in self._open.items() if film.owner == owner]:
            del self._open[key]

    def mark(self, key: str, marks: Marks) -> Open | None:
        """Keep marks with their film."""
        found = self.get(key)
        if found is not None:
            found = self._open[key] = replace(found, marks=marks)
        return found

    def back(self, film: Film, picture: Shown, marks: Marks, case: str, use: Use) -> str:
        """Take in a film that came back in an archive, and give its key; one that is open already with the same picture and marks is not
        taken twice."""
        for there_key, there in self.of((case,)):
            if (there.marks, there.use) == (marks, use) and np.array_equal(there.picture.greys, picture.greys):
                return there_key
        key = self.put("radiograph", film, picture)
        self.mark(key, marks)
        self.belongs(key, case, use)
        return key

    def belongs(self, key: str, case: str, use: Use) -> None:
        """Say which case a film was loaded for, and what it is used for there."""
        found = self.get(key)
        if found is not None:
            self._open[key] = replace(found, case=case, use=use)

    def of(self, cases: Collection[str]) -> list[tuple[str, Open]]:
        """The reader's films of any of these cases, the one looked at last at the end."""
        return [(k, film) for k, film in self._open.items() if film.case in cases and film.owner == reader()]

    def last(self, cases: Collection[str], canal: str, what: str, slot: int = 0) -> tuple[str, Use]:
        """Key and use of the film that was last used so; an empty key where there is none."""
        for key, film in reversed(self.of(cases)):
            if (film.use.canal, film.use.what, film.use.slot) == (canal, what, slot):
                return key, film.use
        return "", Use(canal)


def routes(films: Radiographs, bench: Bench) -> APIRouter:
    """Where a film is sent to and its greys come from."""
    router = APIRouter()

    @router.post(PATH)
    async def sent(request: Request, name: str = "radiograph") -> Response:
        """Take in a film; its name is told in errors and used for nothing else."""
        told = "".join(c for c in Path(name).name if c.isprintable())[:80] or "radiograph"
        try:
            film, picture = await bench.aside(load, await request.body(), told)
        except ScanError as error:
            return JSONResponse(
                {"wrong": Prefs.of(request.cookies).words(str(error))}, 422, {"cache-control": "no-store"}
            )
        key = films.put(told, film, picture)
        found = films.get(key)
        return JSONResponse(found.told(key) if found else {}, headers={"cache-control": "no-store"})

    @router.get(PATH + "/{key}/greys")
    async def greys(key: str) -> Response:
        found = films.get(key)
        if found is None:
            return JSONResponse({"wrong": "this radiograph is not open any more: load it again"}, 404)
        content = found.picture.greys.astype("<u2").tobytes()
        return Response(content, media_type="application/octet-stream", headers={"cache-control": "no-store"})

    return router


def load(content: bytes, name: str) -> tuple[Film, Shown]:
    """A film from the bytes of its file, and the picture for the browser. Raises ScanError, which names the file as it was sent."""
    with tempfile.TemporaryDirectory(prefix="canalwright-") as folder:
        path = Path(folder) / "film"
        path.write_bytes(content)
        try:
            film = read_film(path)
        except ScanError as error:
            raise ScanError(str(error).replace(str(path), name)) from None
    return replace(film, path=name), shown(film)


def marks_of(told: Mapping[str, Any]) -> Marks:
    """Marks as the browser tells them; raises ValueError for what is no mark or too many."""
    lists = {kind: _points(told.get(kind) or []) for kind in MOST_MARKS}
    for kind, points in lists.items():
        if len(points) > MOST_MARKS[kind]:
            raise ValueError(f"{len(points)} marks of one kind, allowed {MOST_MARKS[kind]}")
    single = {
        kind: next(iter(_points([told[kind]])), None) if told.get(kind) else None
        for kind in ("reference", "terminus", "end")
    }
    known = str(told.get("known_mm") or "").replace(",", ".")
    try:
        known_mm = float(known) if known else None
    except ValueError:
        raise ScanError(f"known length {known!r}: give it as a number in mm") from None
    return Marks(
        lists["known"], known_mm, single["reference"], lists["canal"], single["terminus"], lists["pair"], single["end"]
    )  # fmt: skip


def marks_told(marks: Marks) -> dict[str, Any]:
    """Marks for the browser."""
    return {
        "known": [list(p) for p in marks.known],
        "known_mm": "" if marks.known_mm is None else f"{marks.known_mm:g}",
        "reference": list(marks.reference) if marks.reference else None,
        "canal": [list(p) for p in marks.canal],
        "terminus": list(marks.terminus) if marks.terminus else None,
        "pair": [list(p) for p in marks.pair],
        "end": list(marks.end) if marks.end else None,
    }


def _points(told: Any) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in told)
