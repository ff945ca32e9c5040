"""Every canal of a tooth from its surfaces: a lumen (pulp) mesh and a dentine mesh.

Nothing is assumed about how the tooth lies. The lumen's branching gives the canals, the dentine
tells the outer root surface and, with the enamel when there is one, which end is the crown. See
`mesh_branches`, `mesh_drafts`, `mesh_trace`, `mesh_found` for the steps, docs/models/surfaces.md for
how well it does.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.mesh import arms as mesh_arms
from canalwright.imaging.mesh import names as mesh_names
from canalwright.imaging.mesh.arms import Arm
from canalwright.imaging.mesh.branches import Branching, branching
from canalwright.imaging.mesh.checks import belong_together, one_tooth
from canalwright.imaging.mesh.crown import apical_leaves, average_cej, cej_plane, crown_direction
from canalwright.imaging.mesh.drafts import Draft, drafts
from canalwright.imaging.mesh.found import found
from canalwright.imaging.mesh.outer import Outer, outer_surface
from canalwright.imaging.mesh.surfaces import Surface, read_surface
from canalwright.imaging.mesh.trace import Traced, trace

Array = NDArray[np.float64]

NEAR = 1.0
"""A point the user gives must lie this near to the lumen, mm."""


def canals_from_surfaces(
    lumen: Surface | str | Path,
    dentine: Surface | str | Path,
    *,
    tooth: Tooth | int | None = None,
    orifices: ArrayLike | None = None,
    termini: ArrayLike | None = None,
    enamel: Surface | str | Path | None = None,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
) -> tuple[FoundCanal, ...]:
    """The canals of a tooth, the largest first (in the order of `termini` when they are given).

    `orifices`, `termini`: points (k, 3) in the meshes' own space, mm, that override what is found;
    given together they go in pairs. `enamel` shows the crown end and the CEJ. `tooth` (ISO 3950) with
    `mesial` or `buccal` (a direction, 3 numbers) gives canals their trade names, else they are numbered.
    Raises SurfaceError for meshes that are not the lumen and dentine of one tooth, or points outside the lumen.
    """
    lumen, dentine = _surface(lumen), _surface(dentine)
    enamel = _surface(enamel) if enamel is not None else None
    tooth = Tooth(tooth) if isinstance(tooth, int) else tooth
    ends, mouths = _points(termini, "termini", lumen), _points(orifices, "orifices", lumen)
    if len(ends) and len(mouths) and len(ends) != len(mouths):
        raise SurfaceError(f"{lumen.file}: {len(mouths)} orifices and {len(ends)} termini; give one of each per canal")
    one_tooth(dentine)
    outer = outer_surface(dentine, lumen)
    belong_together(lumen, dentine, enamel, outer)
    way = _branches(lumen, outer, enamel, ends)
    plane = cej_plane(enamel, way.crown) if enamel is not None else None
    if plane is None and tooth is not None:
        plane = average_cej(tooth, outer, way.crown)
    made = drafts(way.branching, way.alive, way.arms, way.horns, way.crown, plane)
    made = _cut_at(made, mouths, bool(len(ends)), lumen)
    traced = trace(lumen, made, [*ends] if len(ends) else [None] * len(made))
    return _named(way, made, traced, lumen, dentine, outer, tooth, (mesial, buccal), bool(len(ends)))


@dataclass(frozen=True)
class _Way:
    branching: Branching
    alive: frozenset[int]
    crown: Array
    arms: list[Arm]
    spurs: list[mesh_arms.Spur]
    horns: list[int]


def _surface(given: Surface | str | Path) -> Surface:
    return given if isinstance(given, Surface) else read_surface(given)


def _points(given: ArrayLike | None, word: str, lumen: Surface) -> Array:
    if given is None:
        return np.zeros((0, 3))
    points = np.atleast_2d(np.asarray(given, dtype=float))
    if points.ndim != 2 or points.shape[1] != 3 or not np.isfinite(points).all():
        raise SurfaceError(f"{lumen.file}: {word} must be points of three finite numbers, mm, not shape {points.shape}")
    return points


def _branches(lumen: Surface, outer: Outer, enamel: Surface | None, ends: Array) -> _Way:
    b = branching(lumen)
    lost = float((b.level[b.knot] < 0).mean())
    if lost > 0.02:
        raise SurfaceError(
            f"{lumen.file}: {100 * lost:.0f} % of the lumen hangs in pieces of its own; allowed: one connected lumen; "
            "join the canals to the chamber in the segmentation, or give one file per tooth"
        )
    alive = mesh_arms.prune(b)
    if not len(ends):
        crown = crown_direction(b, alive, outer, enamel, lumen.file)
        low = apical_leaves(b, alive, crown, lumen.file)
        arms, spurs = mesh_arms.canals(b, alive, low)
        return _Way(b, alive, crown, arms, spurs, [k for k in mesh_arms.leaves(b, alive) if k not in low])
    distance, voxel = cKDTree(b.points).query(ends)
    for point, far in zip(ends, distance, strict=True):
        if far > NEAR:
            raise SurfaceError(
                f"{lumen.file}: terminus {np.round(point, 2).tolist()} lies {far:.1f} mm from the lumen; "
                f"allowed: within {NEAR:.0f} mm; give it in the mesh's own coordinates"
            )
    arms = [Arm(_up(b, int(b.knot[v])), int(v)) for v in voxel]
    alive = alive | {k for arm in arms for k in arm.knots}
    sense = b.points[b.source] - ends.mean(axis=0)
    try:
        crown = crown_direction(b, alive, outer, enamel, lumen.file)
        crown = crown if enamel is not None or crown @ sense > 0 else -crown
    except SurfaceError:
        crown = sense / np.linalg.norm(sense)
    high = [
        k
        for k in mesh_arms.leaves(b, alive)
        if (b.centre[k] - b.points[b.source]) @ crown > 0 and not any(k in arm.knots for arm in arms)
    ]
    return _Way(b, alive, crown, arms, [], high)


def _up(b: Branching, knot: int) -> tuple[int, ...]:
    way = [knot]
    while b.parents[way[-1]]:
        way.append(max(b.parents[way[-1]], key=lambda p: b.radius[p]))
    return tuple(way)


def _cut_at(made: list[Draft], mouths: Array, paired: bool, lumen: Surface) -> list[Draft]:
    """Let canals end at the orifices given: the n-th at the n-th, or each orifice at the canal nearest to it."""
    out = list(made)
    if len(mouths) > len(made):
        raise SurfaceError(
            f"{lumen.file}: {len(mouths)} orifices given, {len(made)} canals found; give the termini too"
        )
    taken: set[int] = set()
    for i, mouth in enumerate(mouths):
        far = [np.inf if n in taken else float(cKDTree(d.points).query(mouth)[0]) for n, d in enumerate(made)]
        n = i if paired else int(np.argmin(far))
        if far[n] > 2 * NEAR:
            raise SurfaceError(
                f"{lumen.file}: orifice {np.round(mouth, 2).tolist()} lies {far[n]:.1f} mm from its canal; "
                f"allowed: within {2 * NEAR:.0f} mm; give it in the mesh's own coordinates"
            )
        taken.add(n)
        points = made[n].points
        k = int(np.clip(np.argmin(np.linalg.norm(points - mouth, axis=1)), 1, len(points) - 2))
        along = points[min(k + 3, len(points) - 1)] - points[max(k - 3, 0)]
        out[n] = replace(made[n], top=(mouth, along / np.linalg.norm(along)), top_is="point given")
    return out


def _named(
    way: _Way, made: list[Draft], traced: list[Traced], lumen: Surface, dentine: Surface, outer: Outer,
    tooth: Tooth | None, given: tuple[ArrayLike | None, ArrayLike | None], keep_order: bool,
) -> tuple[FoundCanal, ...]:  # fmt: skip
    mended = [f"{s.file}: {', '.join(s.mended)}" for s in (lumen, dentine) if s.mended]
    canals = [found("", t, d, lumen, outer, way.crown, tuple(mended)) for t, d in zip(traced, made, strict=True)]
    order = list(range(len(canals)))
    if not keep_order:
        order.sort(key=lambda n: -canals[n].lumen.volume)
    middles = np.array([canals[n].lumen.centre.mean(axis=0) for n in order])
    ways = None
    if tooth is not None:
        try:
            mesial, buccal = (None if g is None else np.asarray(g, dtype=np.float64) for g in given)
            ways = mesh_names.directions(tooth, way.crown, mesial, buccal)
        except ValueError as error:
            raise SurfaceError(f"{lumen.file}: {error}") from None
    listed, note = mesh_names.names(tooth, middles, ways)
    name_of = dict(zip(order, listed, strict=True))
    return tuple(_finished(way, made, canals, n, name_of, note) for n in order)


def _finished(
    way: _Way, made: list[Draft], canals: list[FoundCanal], n: int, name_of: dict[int, str], note: str
) -> FoundCanal:
    """Name, meeting and side branches of canal `n`."""
    canal, notes = canals[n], list(canals[n].notes)
    join: float | None = None
    joined = ""
    meets = made[n].meets
    if meets is not None:
        m, place = meets
        join = float(canal.lumen.z[np.argmin(np.linalg.norm(canal.lumen.centre - place, axis=1))])
        joined = name_of[m]
        where = "below" if made[n].apical else "above"
        shared = "halved between them" if made[n].halves else "counted in both"
        notes.append(f"shares its lumen with {joined} {where} {join:.1f} mm from the terminus, {shared}")
    for spur in way.spurs:
        place = way.branching.centre[spur.knot]
        away = np.linalg.norm(canal.lumen.centre - place, axis=1)
        if way.branching.knot[way.arms[n].tip] != spur.knot and spur.knot in way.arms[n].knots:
            notes.append(f"a side branch leaves {canal.lumen.z[np.argmin(away)]:.1f} mm from the terminus")
    if note:
        notes.append(note)
    return replace(canal, name=name_of[n], join=join, joined=joined, notes=tuple(notes))
