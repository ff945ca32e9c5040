"""A root in the shape that a scan or surface meshes gave it.

Meshes are filled with voxels, labels are voxels already; of either a distance field is made (Euclidean, to half a voxel, smoothed
over one) and read between its points where the cells of the model want it. So the staircase of the voxels is gone, and what
remains of their size is an error of some hundredths of a millimetre. The canal is the union of what was seen and of what the file cut.
"""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.solid.from_lumen import CROWN, about, frame_of, halves, in_mouth, solid_of, space_of, to_ellipse
from canalwright.heat.solid.space import Array
from canalwright.heat.solid.tissue import AIR, CANAL, CANCELLOUS, CEMENTUM, CORTICAL, DENTINE, SOFT, TISSUES, Solid
from canalwright.heat.solid.voxels import Voxels
from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.mesh.voxels import block, fill
from canalwright.imaging.tooth.outline import Tooth
from canalwright.imaging.volume import Scan

FILLED_VOXEL = 0.08
"""Voxel in which meshes are filled, mm."""
SEEN_VOXEL = 0.15
"""Step in which the outline of a tooth found in a scan is read, mm."""
OTHER_WALL = 0.6
"""A root whose least wall differs as much, in the median, from that of the case is another root, mm."""
WIDEST_ROOT = 7.0
"""Dentine further from the canal's axis than this is another root's, mm."""


def from_surfaces(
    lumen_mesh: Surface,
    dentine_mesh: Surface,
    lumen: Lumen,
    *,
    crest: float | None = None,
    plate: float | None = None,
    crown: float | None = None,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    voxels: Voxels | None = None,
) -> Solid:
    """The solid of surface meshes [mm] and of the shaped lumen of one of their canals, `lumen.centre` being in the meshes' space.

    Roots of the same tooth beside it come with the dentine, and so does the tooth above the orifice, as far as `crown` (the chamber is
    open). `crest`, `plate` and `crown` as in `from_lumen`. Raises ValueError when the canal does not run in the dentine.
    """
    pad = WIDEST_ROOT + 1.0
    low = np.maximum(lumen.centre.min(axis=0) - pad, dentine_mesh.vertices.min(axis=0))
    high = np.minimum(lumen.centre.max(axis=0) + pad, dentine_mesh.vertices.max(axis=0))
    if np.any(high <= low):
        raise ValueError("the canal lies outside the dentine mesh: both must be in the same space, in mm")
    room = block((low, high), FILLED_VOXEL)
    canal = fill(lumen_mesh.vertices, lumen_mesh.faces, room)
    root = fill(dentine_mesh.vertices, dentine_mesh.faces, room) | canal
    size = np.full(3, room.size)
    fields = _distance(canal, size), _distance(root, size)
    around = surroundings or Surroundings.tissue()

    def beyond(own: Array, z: Array, _: Array) -> NDArray[np.uint8]:
        tissue = around.film_conductance is None
        out = np.full(own.shape, CORTICAL if tissue else AIR, np.uint8)
        if tissue and plate is not None:
            out[own > (materials or Materials()).ligament_thickness + plate] = CANCELLOUS
        if tissue and crest is not None:
            out[z > crest] = SOFT
        return out

    return _solid(
        lumen, fields, room.origin, np.eye(3) / room.size, beyond, materials, around, voxels, crest=crest, crown=crown
    )


def from_labels(
    labels: NDArray[np.uint8],
    spacing: ArrayLike,
    origin: ArrayLike,
    lumen: Lumen,
    *,
    crown: float | None = None,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    voxels: Voxels | None = None,
) -> Solid:
    """The solid of a labelled scan: `labels` [z, y, x], indices into `TISSUES`, `spacing` and `origin` (3,) mm in the order x, y, z.

    The ligament is laid round the dentine with its own thickness, whatever was labelled so. `crown` as in `from_lumen`. Raises ValueError
    for unknown labels or a volume without canal or dentine.
    """
    labels = np.asarray(labels)
    if labels.ndim != 3 or labels.max() >= len(TISSUES):
        raise ValueError(f"labels must be a volume of indices 0 to {len(TISSUES) - 1}: {', '.join(TISSUES)}")
    if not np.any(labels == CANAL) or not np.any(labels == DENTINE):
        raise ValueError("the labelled volume must hold canal (0) and dentine (1)")
    size = np.asarray(spacing, float)
    inner = np.transpose(np.isin(labels, (CANAL, DENTINE, CEMENTUM)))
    canal = np.transpose(labels == CANAL)
    fields = _distance(canal, size), _distance(inner, size)
    outside = np.transpose(np.where(labels >= CORTICAL, labels, 255)).astype(np.uint8)
    nearest = distance_transform_edt(outside == 255, sampling=size, return_distances=False, return_indices=True)
    known = outside[tuple(nearest)] if np.any(outside != 255) else np.full(outside.shape, CORTICAL, np.uint8)
    start, scale = np.asarray(origin, float), np.diag(1 / size)

    def beyond(own: Array, _: Array, index: Array) -> NDArray[np.uint8]:
        i = tuple(np.clip(np.rint(index[k]).astype(int), 0, known.shape[k] - 1) for k in range(3))
        found = np.asarray(known[i].reshape(own.shape), np.uint8)
        return found if (surroundings or Surroundings.tissue()).film_conductance is None else np.full_like(found, AIR)

    return _solid(
        lumen, fields, start, scale, beyond, materials, surroundings or Surroundings.tissue(), voxels, crown=crown
    )


def from_scan_labels(scan: Scan, lumen: Lumen, **more: Any) -> Solid:
    """The solid of a labelled scan that lies anyhow in the patient: `scan` holds labels as `from_labels` takes them, `lumen.centre` is in
    its patient space [mm]; what is found comes back there. Keywords as in `from_labels`.
    """
    turn = scan.affine[:3, :3] / scan.spacing
    centre = scan.to_index(lumen.centre) * scan.spacing
    inside = replace(lumen, centre=centre, axis=lumen.axis @ np.linalg.inv(turn).T)
    found = from_labels(np.asarray(scan.voxels, np.uint8), scan.spacing, np.zeros(3), inside, **more)
    return found.with_(origin=scan.to_patient(found.origin / scan.spacing), frame=found.frame @ turn.T)


def from_tooth(tooth: Tooth, lumen: Lumen, **more: Any) -> Solid:
    """The solid of a tooth that was found in a grey scan, in the patient space [mm] of scan and lumen: its outline is the root's, the canal
    is the shaped one. Keywords as in `from_labels`.
    """
    low, high = lumen.centre.min(axis=0) - WIDEST_ROOT, lumen.centre.max(axis=0) + WIDEST_ROOT
    sides = [np.arange(a, b, SEEN_VOXEL) for a, b in zip(low, high, strict=True)]
    z, y, x = np.meshgrid(sides[2], sides[1], sides[0], indexing="ij")
    holds = tooth.holds(np.column_stack([x.ravel(), y.ravel(), z.ravel()])).reshape(z.shape)
    labels = np.where(holds, DENTINE, CORTICAL).astype(np.uint8)
    i, j, k = np.rint((lumen.centre - low) / SEEN_VOXEL).astype(int).T
    labels[k, j, i] = CANAL
    return from_labels(labels, [SEEN_VOXEL] * 3, low, lumen, **more)


def _solid(
    lumen: Lumen, fields: tuple[Array, Array], start: Array, scale: Array, beyond: Any, materials: Materials | None,
    around: Surroundings, voxels: Voxels | None, *, crest: float | None = None, crown: float | None = None,
) -> Solid:  # fmt: skip
    m, cells = materials or Materials(), voxels or Voxels()
    origin, frame, line = frame_of(lumen)
    major, minor = halves(lumen)
    _meets(lumen, fields, start, scale)
    radius = _reach(lumen, fields[1], start, scale)
    tissue = around.film_conductance is None
    above = (CROWN if tissue else 0.0) if crown is None else crown
    space = space_of(line, lumen, major, radius, m, tissue, cells, None, above)
    x, y, z = space.centres()
    station, distance, angle = about(lumen, line, frame, x, y, z)
    local = np.stack(np.meshgrid(z, y, x, indexing="ij"), axis=-1)[..., ::-1].reshape(-1, 3)
    index = ((origin + local @ frame - start) @ scale).T
    shape = space.shape
    seen = map_coordinates(fields[0], index, order=1, mode="nearest").reshape(shape)
    root = map_coordinates(fields[1], index, order=1, mode="nearest").reshape(shape) + _past(
        index, fields[1].shape, scale
    ).reshape(shape)
    s = np.clip(station, 0.0, lumen.z[-1])
    a, b = np.interp(s, lumen.z, major), np.interp(s, lumen.z, minor)
    cut = to_ellipse(distance * np.cos(angle), distance * np.sin(angle), a, b)
    canal = np.maximum(np.minimum(np.where(distance < a + 0.5, seen, 1.0), cut), -station)
    root = np.minimum(root, canal)
    what, past = beyond(root, np.broadcast_to(z[:, None, None], shape), index), station - lumen.z[-1]
    if above > 0:
        chamber = np.minimum(seen, cut)
        what = in_mouth(what, station, z, lumen, chamber, crest)
        root, canal = np.where(past > 0, np.maximum(root, -chamber), root), np.maximum(canal, past)
    laid = (canal, root, root, station, distance, angle)
    return solid_of(space, laid, what, lumen, cells, (origin, frame), m.ligament_thickness)


def _meets(lumen: Lumen, fields: tuple[Array, Array], start: Array, scale: Array) -> None:
    """Refuses a canal that does not run in the dentine, or between walls that are not its own: it was measured elsewhere."""
    reach = -map_coordinates(fields[1], ((lumen.centre - start) @ scale).T, order=1, mode="nearest")
    if np.mean(reach[lumen.z > 1.0] > 0) < 0.9:
        raise ValueError(
            "the canal does not run in the dentine: meshes or labels and canal must be in the same space, in mm"
        )
    away = float(np.median((reach - lumen.minor / 2 - lumen.wall)[lumen.z > 1.0]))
    if abs(away) > OTHER_WALL:
        raise ValueError(
            f"the dentine round the canal is {abs(away):.1f} mm {'thicker' if away > 0 else 'thinner'} than the case says: it was "
            "measured in another tooth or space"
        )


def _distance(inside: NDArray[np.bool_], size: Array) -> Array:
    """Distance to the border of a mask [x, y, z], negative inside, smoothed over one voxel, mm."""
    half = float(size.mean()) / 2
    out = distance_transform_edt(~inside, sampling=size) - half * ~inside
    out -= distance_transform_edt(inside, sampling=size) - half * inside
    return np.asarray(gaussian_filter(out, 1.0))


def _past(index: Array, shape: tuple[int, ...], scale: Array) -> Array:
    """How far places lie past the edge of the field, mm: there the distance goes on growing."""
    over = [np.maximum(np.maximum(-index[k], index[k] - (shape[k] - 1)), 0) / scale[k, k] for k in range(3)]
    return np.asarray(np.sqrt(over[0] ** 2 + over[1] ** 2 + over[2] ** 2))


def _reach(lumen: Lumen, root: Array, start: Array, scale: Array) -> float:
    """Greatest distance from the canal's axis to the root surface, at most `WIDEST_ROOT`, mm."""
    angles = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    tangent = np.gradient(lumen.centre, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    side = np.cross(tangent, lumen.axis)
    steps = np.arange(0.2, WIDEST_ROOT, 0.2)
    way = np.cos(angles)[None, :, None] * lumen.axis[::5, None] + np.sin(angles)[None, :, None] * side[::5, None]
    place = lumen.centre[::5, None, None] + steps[None, None, :, None] * way[:, :, None]
    value = map_coordinates(root, ((place - start) @ scale).reshape(-1, 3).T, order=1, mode="nearest").reshape(
        place.shape[:3]
    )
    inside = np.logical_and.accumulate(value < 0, axis=2).sum(axis=2)
    return float(steps[min(int(inside.max()), len(steps) - 1)])
