"""Open scans and traced canals in plain JSON types, for the browser. Lengths mm, points LPS mm."""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging import FoundCanal
from canalwright.imaging.found import FoundPortal
from canalwright.imaging.viewing.planes import PLANES
from canalwright.imaging.viewing.reformat import half_along, likely, long_axis
from canalwright.web.hands import Work
from canalwright.web.scan.store import OpenScan
from canalwright.web.scan.tracing import Tracing
from canalwright.web.words import Words

Array = NDArray[np.float64]


def state(opened: OpenScan, words: Words) -> dict[str, Any]:
    """How far a scan is; its geometry when it is ready; what is being worked at."""
    told: dict[str, Any] = {
        "phase": opened.phase,
        "name": opened.name,
        "reading": _work(opened.work, words),
        "work": _work(opened.tracing.work, words),
        "revision": opened.tracing.revision,
    }
    if opened.phase == "ready":
        planes, kept = opened.planes, opened.ready()
        told["planes"] = {
            "names": list(PLANES),
            "shape": list(planes.shape),
            "spacing": _list(planes.spacing, 6),
            "affine": [_list(row, 8) for row in planes.affine],
            "inverse": [_list(row, 10) for row in np.linalg.inv(planes.affine)],
            "tilt": round(planes.tilt, 1),
            "tones": [kept.tones.least, kept.tones.most],
            "window": [kept.tones.dark, kept.tones.bright],
            "warnings": [words(w) for w in kept.warnings],
        }
    return told


def canals(tracing: Tracing, words: Words) -> dict[str, Any]:
    """The canals as they stand, and the log."""
    return {
        "revision": tracing.revision,
        "canals": [_canal(c, tracing, words) for c in tracing.canals],
        "log": [
            {
                "what": words(c.kind.value),
                "canal": c.canal,
                "author": c.author,
                "reason": c.reason,
                "time": c.time.isoformat(),
                "holds": n < tracing.at,
            }
            for n, c in enumerate(tracing.log)
        ],
        "undo": tracing.at > 0,
        "redo": tracing.at < len(tracing.log),
        "reference": None if tracing.reference is None else list(tracing.reference),
        "surface": bool(tracing.surfaces),
    }


def _canal(found: FoundCanal, tracing: Tracing, words: Words) -> dict[str, Any]:
    lumen, above = found.lumen, tracing.above(found)
    low, high = likely(lumen.minor, found.width_error)
    wide_low, wide_high = likely(lumen.major, found.width_error)
    thin, thick = likely(lumen.wall, found.wall_error)
    long_low, long_high = likely(np.array([found.length]), np.array([found.length_error]))
    return {
        "name": found.name,
        "length": [round(found.length, 2), round(float(long_low[0]), 2), round(float(long_high[0]), 2)],
        "above": None if above is None else round(above, 2),
        "quality": round(found.quality.score, 2),
        "doubts": [words(r) for r in (*found.quality.reasons, *found.notes)],
        "source": words(found.source),
        "joined": found.joined,
        "up": bool(found.crown[2] > 0),
        "z": _list(lumen.z),
        "centre": [_list(p) for p in lumen.centre],
        "axis": [_list(p) for p in lumen.axis],
        "minor": _list(lumen.minor),
        "minor_low": _list(low),
        "minor_high": _list(high),
        "major": _list(lumen.major),
        "major_low": _list(wide_low),
        "major_high": _list(wide_high),
        "wall": _list(lumen.wall),
        "wall_low": _list(thin),
        "wall_high": _list(thick),
        "portals": [_portal(p) | {"words": words(p.kind)} for p in found.portals],
    }


def _portal(portal: FoundPortal) -> dict[str, Any]:
    low, high = likely(
        np.array([portal.diameter, portal.length]), np.array([portal.diameter_error, portal.length_error])
    )
    return {
        "kind": portal.kind,
        "z": round(portal.z, 2),
        "points": [_list(p) for p in portal.path],
        "diameter": [round(portal.diameter, 2), round(float(low[0]), 2), round(float(high[0]), 2)],
        "length": [round(portal.length, 2), round(float(low[1]), 2), round(float(high[1]), 2)],
    }


def line(tracing: Tracing, index: int, turn: float) -> dict[str, Any]:
    """The stations of the straightened picture, their places, the frame, and half the lumen's width as it shows there."""
    found, along = tracing.canals[index], tracing.line(index)
    return {
        "z": _list(along.z, 2),
        "points": [_list(p) for p in along.points],
        "one": [_list(p, 4) for p in along.one],
        "two": [_list(p, 4) for p in along.two],
        "half": {"z": _list(found.lumen.z), "width": _list(half_along(found, along, turn))},
        "axis": _list(np.array([long_axis(found, along, float(z)) for z in found.lumen.z]), 4),
    }


def surfaces(tracing: Tracing) -> dict[str, Any]:
    """The tooth's surface at its sizes, arrays as base64 of 32-bit numbers."""
    return {
        "levels": [{"vertices": _packed(s.vertices), "faces": _packed(s.faces)} for s in tracing.surfaces],
    }


def _work(work: Work | None, words: Words) -> dict[str, Any] | None:
    if work is None:
        return None
    return {
        "kind": work.kind,
        "state": work.state,
        "told": words(work.told) if work.told else "",
        "share": work.share,
        "seconds": round(work.seconds, 1),
        "error": words(work.error) if work.error else "",
    }


def _packed(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<")).tobytes()).decode()


def _list(values: Array, digits: int = 3) -> list[float | None]:
    return [round(float(v), digits) if np.isfinite(v) else None for v in np.asarray(values).ravel()]
