"""From traced canals to `FoundCanal`: widths, wall and their errors at every station, and how far to trust them.

Width error (one standard deviation): facets cut chords off a round wall, e^2 / (8 r) deep for an edge
e on a radius r; with it goes the scatter of the width about its run smoothed over 0.3 mm. Wall
error: the same depth on the root's surface, and half the width error. What the segmentation that made the mesh got
wrong is not in the mesh and not in these errors.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from canalwright.imaging import sections
from canalwright.imaging.found import FoundCanal, Quality
from canalwright.imaging.mesh.crown import AVERAGE_CEJ
from canalwright.imaging.mesh.drafts import Draft
from canalwright.imaging.mesh.outer import Outer
from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.mesh.trace import Traced
from canalwright.imaging.sections import Section

Array = NDArray[np.float64]

ROOT_RADIUS = 2.0
LEAST_ERROR = 0.005
STAND_IN = 0.25
"""Added width error, as a share of the width, where a neighbouring section stands for the station's own."""
RIBBON = 0.75
WHOLE = 0.35
MOST_POINTS = 60
"""Points of an outline from which the wall is measured, at most about twice this."""


@dataclass(frozen=True)
class Measured:
    """Sections by station; `stands_in` (n,) marks stations whose section is a neighbour's."""

    sections: tuple[Section, ...]
    stands_in: NDArray[np.bool_]
    edge: Array


def found(
    name: str, traced: Traced, draft: Draft, lumen: Surface, outer: Outer, crown: Array, extra: tuple[str, ...]
) -> FoundCanal:
    """The record of one canal; `extra` are notes that hold for the tooth."""
    line = traced.line
    measured = _measured(traced, lumen)
    wall, way = _wall(traced, outer)
    shape = sections.lumen(line, measured.sections, wall)
    width_error = _width_error(shape.minor, measured)
    wall_error = np.sqrt((outer.edge**2 / (8 * ROOT_RADIUS)) ** 2 + (width_error / 2) ** 2 + LEAST_ERROR**2)
    inscribed = np.array([s.inscribed for s in measured.sections])
    first = int(np.nonzero(~measured.stands_in)[0][0])
    return FoundCanal(
        name=name,
        lumen=shape,
        length=line.length,
        foramen=float(shape.minor[first]),
        orifice=line.points[-1],
        terminus=line.points[0],
        width_error=width_error,
        wall_error=wall_error,
        wall_direction=way,
        inscribed=np.minimum(inscribed, shape.minor),
        crown=crown,
        quality=_quality(traced, measured, shape.minor, inscribed, width_error, draft),
        source=f"surface mesh {lumen.file}, median edge {lumen.edge:.2f} mm",
        notes=(f"orifice taken at the {draft.top_is}", *extra),
    )


def _measured(traced: Traced, lumen: Surface) -> Measured:
    corners = lumen.vertices[lumen.faces]
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).mean(axis=1)
    own = [
        sections.measure(loop.flat) if loop is not None and z >= traced.whole - 1e-9 else None
        for loop, z in zip(traced.loops, traced.line.s, strict=True)
    ]
    good = np.array([i for i, section in enumerate(own) if section is not None])
    nearest = good[np.argmin(np.abs(np.arange(len(own))[:, None] - good), axis=1)]
    edge = np.full(len(own), lumen.edge)
    for i in good:
        faces = traced.loops[i].face
        if (faces >= 0).all():
            edge[i] = edges[faces].mean()
    filled = tuple(own[i] for i in nearest)
    return Measured(filled, np.array([s is None for s in own]), edge[nearest])


def _wall(traced: Traced, outer: Outer) -> tuple[Array, Array]:
    """Least wall (n,) and its direction (n, 3): from corners and edge middles of each outline, in space."""
    line, points, owner = traced.line, [], []
    for i, loop in enumerate(traced.loops):
        if loop is not None:
            flat = np.vstack([loop.flat, (loop.flat + np.roll(loop.flat, 1, axis=0)) / 2])
            flat = flat[:: max(1, len(flat) // MOST_POINTS)]
            points.append(line.from_plane(i, flat))
            owner.append(np.full(len(flat), i))
    cloud, station = np.vstack(points), np.concatenate(owner)
    distance, foot = outer.nearest(cloud)
    wall, way = np.full(len(line.s), np.nan), np.zeros((len(line.s), 3))
    for i in np.unique(station):
        here = np.nonzero(station == i)[0]
        k = here[np.argmin(distance[here])]
        wall[i] = distance[k]
        if distance[k] > 1e-6:
            way[i] = (foot[k] - cloud[k]) / distance[k]
    known = np.isfinite(wall)
    return np.interp(line.s, line.s[known], wall[known]), way


def _width_error(minor: Array, measured: Measured) -> Array:
    facet = np.minimum(measured.edge**2 / (4 * minor), 0.3 * minor)
    scatter = np.sqrt(gaussian_filter1d((minor - gaussian_filter1d(minor, 3.0)) ** 2, 5.0))
    stand_in = np.where(measured.stands_in, STAND_IN * minor, 0.0)
    return np.asarray(np.sqrt(facet**2 + scatter**2 + stand_in**2 + LEAST_ERROR**2))


def _quality(
    traced: Traced, measured: Measured, minor: Array, inscribed: Array, width_error: Array, draft: Draft
) -> Quality:
    z = traced.line.s
    less: list[tuple[float, str]] = []
    missing = np.array([loop is None for loop in traced.loops]) & (z >= traced.whole)
    if missing.any():
        reason = f"no outline at {missing.sum()} of {len(z)} stations: the nearest one stands in"
        less.append((min(0.5, 2 * float(missing.mean())), reason))
    if traced.whole > WHOLE:
        cost = 0.05 if traced.whole < 1.0 else 0.2
        less.append(
            (cost, f"the lowest {traced.whole:.1f} mm are cut by the slanting foramen: the width above stands in")
        )
    coarse = np.median(width_error / minor)
    if coarse > 0.15:
        less.append((0.2, f"the mesh is coarse for this canal: width error {100 * coarse:.0f} % of the width"))
    ribbon = inscribed < RIBBON * minor
    if ribbon.mean() > 0.1:
        less.append(
            (
                0.1,
                f"{0.1 * ribbon.sum():.1f} mm are kidney or ribbon shaped: round instruments meet less than the width",
            )
        )
    if draft.top_is == AVERAGE_CEJ:
        less.append((0.1, "no enamel mesh and no orifice given: the orifice is taken at the average level of the CEJ"))
    if draft.top_is == "roof of the pulp":
        less.append((0.1, "no enamel mesh and no orifice given: the canal is measured up to the roof of the pulp"))
    if draft.halves:
        less.append((0.05, "a slit shared with another canal is halved between them"))
    score = float(np.prod([1 - cost for cost, _ in less])) if less else 1.0
    return Quality(score, tuple(reason for _, reason in less))
