"""Exact cuts of a triangle mesh with a plane: the closed outlines in it, and the way along a ray to the mesh."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.centreline import Centreline
from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.sections import contains, signed_area

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH = 0.3
"""An outline this near to the point counts as the one about it when none holds it, mm."""


@dataclass(frozen=True)
class Loop:
    """A closed outline: `flat` (m, 2) in the plane of the cut, the `face` each of its edges lies on (m,)."""

    flat: Array
    face: Ints


def cut(surface: Surface, line: Centreline, i: int) -> list[Loop]:
    """Outlines of the surface in the cross plane of station `i` of a centreline."""
    height = (surface.vertices - line.points[i]) @ line.tangent[i]
    above = height >= 0
    tops = above[surface.faces].sum(axis=1)
    crossed = np.nonzero((tops == 1) | (tops == 2))[0]
    if not len(crossed):
        return []
    corners = surface.faces[crossed]
    up = above[corners]
    # one corner is alone on its side; the two edges from it are cut
    alone = np.where(up.sum(axis=1) == 1, np.argmax(up, axis=1), np.argmin(up, axis=1))
    rows = np.arange(len(crossed))
    lone, after, before = (corners[rows, (alone + k) % 3] for k in range(3))
    lone_up = up[rows, alone]
    start = np.where(lone_up, 1, 0)[:, None]
    edge_a, edge_b = np.sort(np.column_stack([lone, after]), axis=1), np.sort(np.column_stack([lone, before]), axis=1)
    first, second = np.where(start == 1, edge_a, edge_b), np.where(start == 1, edge_b, edge_a)
    size = len(surface.vertices)
    return _loops(first @ [size, 1], second @ [size, 1], crossed, surface, height, line, i)


def _loops(
    first: Ints, second: Ints, faces: Ints, surface: Surface, height: Array, line: Centreline, i: int
) -> list[Loop]:
    """Chain the directed pieces first -> second (edges by key) into closed outlines."""
    follow: dict[int, list[int]] = {}
    for row, key in enumerate(first.tolist()):
        follow.setdefault(key, []).append(row)
    ends = second.tolist()
    found = []
    while follow:
        begin = next(iter(follow))
        key, rows = begin, []
        while key in follow:
            row = follow[key].pop()
            if not follow[key]:
                del follow[key]
            rows.append(row)
            key = ends[row]
            if key == begin:
                break
        if key == begin and len(rows) >= 3:
            lo, hi = np.divmod(first[rows], len(surface.vertices))
            t = height[lo] / (height[lo] - height[hi])
            points = surface.vertices[lo] + t[:, None] * (surface.vertices[hi] - surface.vertices[lo])
            found.append(Loop(line.to_plane(i, points), faces[rows]))
    return found


def about(loops: list[Loop], point: Array) -> Loop | None:
    """The outline that holds `point` (2,): the widest of several, else the nearest within 0.3 mm, else None.

    The widest one, because the inner outlines of a lumen that overlaps itself are no walls.
    """
    loops = [loop for loop in loops if abs(signed_area(loop.flat)) > 1e-6]
    holding = [loop for loop in loops if contains(loop.flat, point)]
    if holding:
        return max(holding, key=lambda loop: abs(signed_area(loop.flat)))
    near = [(float(np.linalg.norm(loop.flat - point, axis=1).min()), n) for n, loop in enumerate(loops)]
    if near and min(near)[0] <= REACH:
        return loops[min(near)[1]]
    return None


def ray(surface: Surface, start: Array, way: Array, most: float) -> float | None:
    """Distance from `start` (3,) along the unit `way` (3,) to the first face that lets it out, None beyond `most`.

    Moller & Trumbore 1997, J Graph Tools 2:21-28, all faces at once.
    """
    a, b, c = (surface.vertices[surface.faces[:, i]] for i in range(3))
    ab, ac, away = b - a, c - a, start - a
    p = np.cross(way, ac)
    det = np.einsum("ij,ij->i", ab, p)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", away, p) / det
        q = np.cross(away, ab)
        v = q @ way / det
        t = np.einsum("ij,ij->i", ac, q) / det
    hit = (det < -1e-15) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t > 1e-9) & (t <= most)
    return float(t[hit].min()) if hit.any() else None
