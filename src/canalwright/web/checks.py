"""Checks that are open in the page: the last one of each reader and canal, until it is kept or saved."""

import io
import json
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from fastapi import APIRouter, Response
from PIL import Image

from canalwright.assessment import Assessment
from canalwright.imaging.radiograph.shown import Shown
from canalwright.web.reader import reader

MOST = 40


@dataclass(frozen=True)
class Check:
    """An assessment with what it was read from: `picture` of the film, its `marks` as the browser tells them, and `habits` of the hand.

    `labels`: of two scans, what each voxel of the earlier one holds (an NRRD file; numbers as `assessment.scan.NAMES`), and the
    same as a DICOM `segmentation` where that scan was a DICOM series; `scans`: which two they were, and how they lie on each other.
    """

    assessment: Assessment
    picture: Shown | None
    marks: dict[str, Any]
    habits: tuple[tuple[str, float], ...] = ()
    labels: bytes | None = None
    segmentation: bytes | None = None
    scans: dict[str, Any] = field(default_factory=dict)

    def payload(self) -> dict[str, Any]:
        """What the records keep of it."""
        found = self.assessment
        kept: dict[str, Any] = {
            "canal": found.canal,
            "short_mm": round(found.to_terminus.value, 2),
            "assessment": found.as_json(),
            "marks": self.marks,
            "habits": [list(row) for row in self.habits],
        }
        if found.void_share is not None:
            kept["void_percent"] = round(100 * found.void_share.value, 2)
        return kept | ({"scans": self.scans} if self.scans else {})

    def png(self) -> bytes | None:
        """The film as a picture without anything that its file said of the patient."""
        if self.picture is None:
            return None
        made = io.BytesIO()
        Image.fromarray((self.picture.greys >> 8).astype(np.uint8)).save(made, "PNG")
        return made.getvalue()


@dataclass
class Checks:
    """The last check by reader, case and canal."""

    _last: "OrderedDict[tuple[str, str, int], Check]" = field(default_factory=OrderedDict)

    def put(self, key: str, index: int, check: Check) -> None:
        """Remember a check."""
        self._last[reader(), key, index] = check
        self._last.move_to_end((reader(), key, index))
        while len(self._last) > MOST:
            self._last.popitem(last=False)

    def get(self, key: str, index: int) -> Check | None:
        """The reader's last check of a canal."""
        return self._last.get((reader(), key, index))

    def erase(self, cases: Collection[str]) -> None:
        """Let go of every reader's checks of these cases."""
        for key in [k for k in tuple(self._last) if k[1] in cases]:
            self._last.pop(key, None)

    def forget(self, owner: str) -> None:
        """Let go of a reader's checks."""
        for key in [k for k in self._last if k[0] == owner]:
            del self._last[key]


def routes(checks: Checks) -> APIRouter:
    """The check as a file."""
    router = APIRouter()

    @router.get("/case/{key}/{index}/check.json")
    async def saved(key: str, index: int) -> Response:
        found = checks.get(key, index)
        if found is None:
            return Response('{"problems": ["there is no check of this canal yet"]}', 404, media_type="application/json")
        content = json.dumps(found.payload(), indent=2, allow_nan=False)
        name = f'attachment; filename="check-{found.assessment.tooth}.json"'
        return Response(content, 200, {"cache-control": "no-store", "content-disposition": name}, "application/json")

    @router.get("/case/{key}/{index}/check.nrrd")
    async def labelled(key: str, index: int) -> Response:
        found = checks.get(key, index)
        if found is None or found.labels is None:
            return Response(
                '{"problems": ["no two scans of this canal were read"]}', 404, media_type="application/json"
            )
        name = f'attachment; filename="check-{found.assessment.tooth}-labels.nrrd"'
        return Response(
            found.labels, 200, {"cache-control": "no-store", "content-disposition": name}, "application/x-nrrd"
        )

    @router.get("/case/{key}/{index}/check.dcm")
    async def segmented(key: str, index: int) -> Response:
        found = checks.get(key, index)
        if found is None or found.segmentation is None:
            told = '{"problems": ["no two DICOM scans of this canal were read"]}'
            return Response(told, 404, media_type="application/json")
        name = f'attachment; filename="check-{found.assessment.tooth}-labels.dcm"'
        headers = {"cache-control": "no-store", "content-disposition": name}
        return Response(found.segmentation, 200, headers, "application/dicom")

    return router
