"""From drafts to measured canals: the centreline is drawn through the middles of exact sections, three times over.

Each pass cuts the lumen at right angles to the line so far, takes the middle of the outline about
the line (the half nearer to it, where a slit is shared), and smooths again. The terminus is where
the line, carried straight on from its last whole section, leaves the lumen: near the foramen the
sections are cut off by the slanting mouth and say nothing of the width, so the nearest whole one stands for them.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging import sections
from canalwright.imaging.centreline import Centreline, smooth
from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.mesh.cut import Loop, about, cut, ray
from canalwright.imaging.mesh.drafts import Draft
from canalwright.imaging.mesh.surfaces import Surface

Array = NDArray[np.float64]

PASSES = 3
WAVELENGTH = 3.0
MOUTH = 0.6
"""Cosine between a face and the canal's direction above which it belongs to the mouth, not to the wall."""
SLACK = 0.05
"""Trust in the middle of a section that is shared or that bursts open, beside 1 for a section of the canal alone."""
BURST = 1.5
"""A section this many times as large as the one half a millimetre below it bursts open."""
MOUTH_SHARE = 0.1
DEEPEST_MOUTH = 1.5
LIP = 1.0
STRIDE = 0.3
"""A pass moves the line by no more than this, mm."""
BEYOND = 0.4
"""The line is drawn this far past its coronal end, so that it is as smooth there as elsewhere, mm."""


@dataclass(frozen=True)
class Traced:
    """A centreline from the terminus, outlines (None where none was found), and the z of the last whole section."""

    line: Centreline
    loops: tuple[Loop | None, ...]
    whole: float


def trace(lumen: Surface, made: list[Draft], termini: list[Array | None]) -> list[Traced]:
    """Trace every draft; `termini` pins a terminus the user gave."""
    normals = np.cross(
        lumen.vertices[lumen.faces[:, 1]] - lumen.vertices[lumen.faces[:, 0]],
        lumen.vertices[lumen.faces[:, 2]] - lumen.vertices[lumen.faces[:, 0]],
    )
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-15)
    lines = [_within(_begun(lumen, d, pinned), d.top, BEYOND) for d, pinned in zip(made, termini, strict=True)]
    for _ in range(PASSES):
        lines = [_again(lumen, normals, lines, n, draft, termini[n]) for n, draft in enumerate(made)]
    out = []
    for n, draft in enumerate(made):
        line = _within(lines[n], draft.top, 0.0)
        loops = [_outline(lumen, lines, n, draft, line, i) for i in range(len(line.s))]
        out.append(Traced(line, tuple(loops), _whole(loops, line, normals, draft)))
    return out


def _again(
    lumen: Surface, normals: Array, lines: list[Centreline], n: int, draft: Draft, pinned: Array | None
) -> Centreline:
    line = lines[n]
    loops = [_outline(lumen, lines, n, draft, line, i) for i in range(len(line.s))]
    first = round(_whole(loops, line, normals, draft) / 0.1)
    middles, weight = [], []
    for i, loop in enumerate(loops):
        if loop is not None and i >= first:
            section = sections.measure(loop.flat, round_room=False)
            middles.append(line.from_plane(i, _nudged(section.centre)[None])[0])
            weight.append(SLACK if (loop.face < 0).any() or _bursts(loops, i) else 1.0)
    if len(middles) < 10:
        raise SurfaceError(
            f"{lumen.file}: a canal could be followed over less than 1 mm; the lumen is too coarse or broken there: "
            "export it finer, or give its orifice and terminus"
        )
    way = -line.tangent[min(first + 3, len(line.s) - 1)]
    return _within(_carried_on(lumen, np.array(middles), np.array(weight), way, pinned), draft.top, BEYOND)


def _begun(lumen: Surface, draft: Draft, pinned: Array | None) -> Centreline:
    """The first line: the draft, but straight over its last millimetre, which may hang in the lip of the foramen."""
    below = np.cumsum(np.r_[0.0, np.linalg.norm(np.diff(draft.points, axis=0), axis=1)])
    kept = draft.points[below >= LIP] if below[-1] > 4 * LIP else draft.points
    rough = smooth(kept, wavelength=WAVELENGTH)
    return _carried_on(lumen, kept, np.ones(len(kept)), -rough.tangent[0], pinned)


def _carried_on(lumen: Surface, middles: Array, weight: Array, way: Array, pinned: Array | None) -> Centreline:
    """The smooth line through `middles`, begun at the pinned terminus, or where `way` leads out of the lumen."""
    if pinned is not None:
        points, weight = np.vstack([pinned, middles]), np.r_[50.0, weight]
    else:
        out = ray(lumen, middles[0], way, 3.0) or 0.0
        on = np.append(np.arange(0.1, out, 0.1), out)[::-1, None] if out > 0 else np.zeros((0, 1))
        points, weight = np.vstack([middles[0] + on * way, middles]), np.r_[np.ones(len(on)), weight]
    return smooth(points, wavelength=WAVELENGTH, weights=weight)


def _bursts(loops: list[Loop | None], i: int) -> bool:
    here, below = loops[i], loops[max(0, i - 5)]
    if here is None or below is None or i < len(loops) // 2:
        return False
    return abs(sections.signed_area(here.flat)) > BURST * abs(sections.signed_area(below.flat))


def _nudged(middle: Array) -> Array:
    """A middle in the plane, no farther than STRIDE from the line: a section that bursts open must not drag it."""
    return middle * min(1.0, STRIDE / max(float(np.linalg.norm(middle)), 1e-12))


def _outline(lumen: Surface, lines: list[Centreline], n: int, draft: Draft, line: Centreline, i: int) -> Loop | None:
    """The outline about station `i`, less what is nearer to a canal that halves it."""
    loop = about(cut(lumen, line, i), np.zeros(2))
    if loop is None:
        return None
    for m in draft.halves:
        other = lines[m].points
        near = int(
            np.argmin(
                np.abs((other - line.points[i]) @ line.tangent[i])
                + 0.2 * np.linalg.norm(other - line.points[i], axis=1)
            )
        )
        flat = line.to_plane(i, other[near][None])[0]
        size = float(np.linalg.norm(flat))
        if size > 1e-6 and sections.contains(loop.flat, flat):
            kept = sections.clip(loop.flat, flat / 2, flat / size)
            if len(kept) >= 3 and abs(sections.signed_area(kept)) > 1e-6:
                loop = Loop(kept, np.full(len(kept), -1))
    return loop


def _whole(loops: list[Loop | None], line: Centreline, normals: Array, draft: Draft) -> float:
    """Distance from the terminus to the first section that the mouth of the foramen leaves whole."""

    def share(i: int) -> float:
        loop = loops[i]
        if loop is None:
            return 1.0
        length = np.linalg.norm(np.roll(loop.flat, -1, axis=0) - loop.flat, axis=1)
        mouth = np.abs(normals[loop.face] @ line.tangent[i]) > MOUTH
        return float(length[mouth & (loop.face >= 0)].sum() / length.sum())

    last = min(len(loops) - 1, int(DEEPEST_MOUTH / 0.1))
    for i in range(last):
        if all(share(k) <= MOUTH_SHARE for k in range(i, min(i + 3, len(loops)))):
            return float(line.s[i])
    return float(line.s[last])


def _within(line: Centreline, top: tuple[Array, Array], beyond: float) -> Centreline:
    """The line up to where it first crosses the plane `top`, and `beyond` more."""
    over = np.nonzero((line.points - top[0]) @ top[1] > 0)[0]
    over = over[over > 20]
    return line.upto(float(line.s[over[0] - 1]) + beyond) if len(over) else line
