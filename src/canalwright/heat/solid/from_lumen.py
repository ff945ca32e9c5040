"""A root built from measurements: the canal where it was measured, the root as thick round it as its walls are.

World coordinates become those of a box: z along the coronal part of the canal, so that the top is level; x in the plane of
the curve, so that fine cells are wanted over little width. About each point of the axis the root's radius is the canal's, in that
direction, plus the wall's, in that direction.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.solid.space import Array, Space, axis
from canalwright.heat.solid.tissue import AIR, CANCELLOUS, CORTICAL, SOFT, Solid
from canalwright.heat.solid.voxels import Voxels

STRAIGHT = 0.02
"""A canal that leaves its chord by less than this is straight, mm."""
SECTORS = 72
CROWN = 4.0
"""Tooth above the orifice that the model follows, mm: heat spreads some 5 mm in half a minute."""
GUM = 3.0
"""Gingiva above the crest of the bone, mm (common practice); beyond it the crown stands in air."""


@dataclass(frozen=True)
class Neighbour:
    """A root beside the one that is filled: round, parallel to its coronal part, `distance` from axis to axis [mm] at `angle` [deg]
    from the canal's greatest width, of `radius` [mm], ending at `end` (z, mm)."""

    distance: float
    angle: float = 0.0
    radius: float = 2.0
    end: float = 0.0


def eccentric(lumen: Lumen, thick: ArrayLike, towards: float = 0.0) -> dict[float, Array]:
    """Walls by direction: the least wall at `towards` [deg], `thick` [mm] opposite, their mean at the sides."""
    least, most = np.asarray(lumen.wall, float), np.broadcast_to(np.asarray(thick, float), lumen.wall.shape)
    if np.any(most < least - 1e-9):
        raise ValueError("the thick wall must be at least as thick as the thin one at every station")
    side = (least + most) / 2
    return {towards: least, towards + 90.0: side, towards + 180.0: np.array(most), towards + 270.0: side}


def from_lumen(
    lumen: Lumen,
    *,
    walls: Mapping[float, ArrayLike] | None = None,
    neighbour: Neighbour | None = None,
    crest: float | None = None,
    plate: float | None = None,
    crown: float | None = None,
    materials: Materials | None = None,
    surroundings: Surroundings | None = None,
    voxels: Voxels | None = None,
) -> Solid:
    """The solid of a shaped lumen.

    `walls`: thickness [mm] by direction (degrees about the axis, from the lumen's greatest width), a number or shape (n,) each;
    between directions it changes smoothly. Without it the wall is the least one all round, as in the (r, z) model. `crest` (z): soft
    tissue instead of bone above it. `plate` [mm]: cortical bone as far from the ligament, cancellous beyond; without it one bone.
    `crown` [mm]: tooth above the orifice, as thick as the root there, round an open access (0: the model ends at the orifice under a film
    to air, as the (r, z) model does; by default `CROWN` in tissue and 0 in a film).
    Raises ValueError for walls that are not positive.
    """
    m, around, cells = materials or Materials(), surroundings or Surroundings.tissue(), voxels or Voxels()
    tissue = around.film_conductance is None
    walls = {0.0: lumen.wall} if walls is None else walls
    outline = _outline(lumen, walls)
    origin, frame, line = frame_of(lumen)
    half_major, half_minor = halves(lumen)
    above = (CROWN if tissue else 0.0) if crown is None else crown
    space = space_of(line, lumen, half_major, float(outline.max()), m, tissue, cells, neighbour, above)
    x, y, z = space.centres()
    station, radius, angle = about(lumen, line, frame, x, y, z)
    s = np.clip(station, 0.0, lumen.z[-1])
    a, b = np.interp(s, lumen.z, half_major), np.interp(s, lumen.z, half_minor)
    u, v = radius * np.cos(angle), radius * np.sin(angle)
    lies = to_ellipse(u, v, a, b)
    canal = np.maximum(lies, -station)
    at = np.interp(s, lumen.z, np.arange(lumen.size))
    turn = np.mod(angle, 2 * np.pi) / (2 * np.pi) * SECTORS
    wide = np.concatenate([outline, outline[:, :1]], axis=1)
    own = np.maximum(radius - map_coordinates(wide, [at, turn], order=1, mode="nearest"), -station)
    root = own
    if neighbour is not None:
        root = np.minimum(own, _neighbour(neighbour, x, y, z))
    beyond = np.full(space.shape, CORTICAL if tissue else AIR, np.uint8)
    if tissue and plate is not None:
        beyond[root > m.ligament_thickness + plate] = CANCELLOUS
    if tissue and crest is not None:
        beyond[z > crest] = SOFT
    if above > 0:
        beyond = in_mouth(beyond, station, z, lumen, lies, crest)
        own, root = (np.where(station > lumen.z[-1], np.maximum(f, -lies), f) for f in (own, root))
        canal = np.maximum(canal, station - lumen.z[-1])
    fields = (canal, root, own, station, radius, angle)
    return solid_of(space, fields, beyond, lumen, cells, (origin, frame), m.ligament_thickness)


def solid_of(
    space: Space, fields: tuple[Array, Array, Array, Array, Array, Array], beyond: NDArray[np.uint8], lumen: Lumen, cells: Voxels,
    world: tuple[Array, Array], ligament: float,
) -> Solid:  # fmt: skip
    """The solid of its `fields` (canal, root, own root, station, distance from the axis, angle: mm and rad in the cells of `space`) and
    what lies `beyond` the root; `world`: origin and frame, where the box stands."""
    rows = max(round(float(lumen.z[-1]) / cells.along), 2)
    step = float(lumen.z[-1]) / rows
    middle = (np.arange(rows) + 0.5) * step
    canal, root, own, station, away, angle = (np.asarray(f, np.float32) for f in fields)
    radii = np.interp(middle, lumen.z, np.sqrt(lumen.area / np.pi))
    return Solid(space, canal, root, own, station, away, angle, beyond, rows, step, radii, *world, ligament)


def in_mouth(
    beyond: NDArray[np.uint8], station: Array, z: Array, lumen: Lumen, lies: Array, crest: float | None
) -> NDArray[np.uint8]:
    """What lies beyond the root, with gingiva and air above the orifice and air in the access."""
    out, past = beyond.copy(), station > lumen.z[-1]
    gum = (lumen.z[-1] if crest is None else crest) + GUM
    out[past] = SOFT
    out[past & ((z[:, None, None] > gum) | (lies < 0))] = AIR
    return out


def _outline(lumen: Lumen, walls: Mapping[float, ArrayLike]) -> Array:
    """Radius of the root about the canal's axis by station and direction, shape (n, SECTORS), mm."""
    if not walls:
        raise ValueError("walls by direction: give at least one, or leave them out")
    angles = np.sort(np.mod(np.asarray(list(walls), dtype=float), 360.0))
    by_angle = {float(np.mod(k, 360.0)): np.broadcast_to(np.asarray(v, float), lumen.z.shape) for k, v in walls.items()}
    thick = np.stack([by_angle[float(k)] for k in angles])
    if not np.all(np.isfinite(thick)) or np.any(thick <= 0):
        bad = float(lumen.z[np.argmin(np.where(np.isfinite(thick), thick, -np.inf).min(axis=0))])
        raise ValueError(f"walls must be positive numbers in every direction (look at z = {bad:.1f} mm)")
    turn = np.arange(SECTORS) * 360.0 / SECTORS
    if len(angles) == 1:
        wall = np.repeat(thick[0][:, None], SECTORS, axis=1)
    else:
        known = np.concatenate([angles - 360, angles, angles + 360])
        wall = PchipInterpolator(known, np.concatenate([thick] * 3), axis=0)(turn).T
    a, b = halves(lumen)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    bore = (a * b)[:, None] / np.sqrt((b[:, None] * c) ** 2 + (a[:, None] * s) ** 2)
    return np.asarray(bore + wall)


def halves(lumen: Lumen) -> tuple[Array, Array]:
    """Half widths of the ellipse of the measured area and ratio of widths."""
    scale = np.sqrt(lumen.area / (np.pi / 4 * lumen.minor * lumen.major))
    return lumen.major / 2 * scale, lumen.minor / 2 * scale


def frame_of(lumen: Lumen) -> tuple[Array, Array, Array]:
    """Origin (the terminus, at the level of the box), frame (3, 3) with rows x, y, z, and the axis in it (n, 3)."""
    centre = lumen.centre
    back = max(int(np.searchsorted(lumen.z, lumen.z[-1] - 2.0)) - 1, 0)
    up = centre[-1] - centre[back]
    up = up / np.linalg.norm(up)
    rel = centre - centre[-1]
    aside = rel - np.outer(rel @ up, up)
    far = int(np.argmax(np.linalg.norm(aside, axis=1)))
    across = aside[far] if np.linalg.norm(aside[far]) > STRAIGHT else lumen.axis[lumen.size // 2]
    across = across - (across @ up) * up
    across = across / np.linalg.norm(across)
    frame = np.stack([across, np.cross(up, across), up])
    line = rel @ frame.T
    origin = centre[-1] + line[:, 2].min() * up
    return origin, frame, line - [0.0, 0.0, float(line[:, 2].min())]


def space_of(
    line: Array, lumen: Lumen, half: Array, radius: float, m: Materials, tissue: bool, cells: Voxels,
    neighbour: Neighbour | None, crown: float = 0.0,
) -> Space:  # fmt: skip
    """Cells fine in the box of the canal (its axis `line`, half widths `half`), coarser in the root of `radius` and beyond."""
    margin = m.ligament_thickness + cells.outside if tissue else 0.15
    faces = []
    for k in range(2):
        low, high = float((line[:, k] - half).min()), float((line[:, k] + half).max())
        root = float(line[:, k].min()) - radius, float(line[:, k].max()) + radius
        start, end = root[0] - margin, root[1] + margin
        if neighbour is not None:
            at = neighbour.distance * (np.cos, np.sin)[k](np.radians(neighbour.angle))
            start, end = min(start, at - neighbour.radius - margin / 2), max(end, at + neighbour.radius + margin / 2)
        faces.append(
            axis(
                low,
                high,
                start,
                end,
                cells.voxel,
                cells.growth,
                root=root,
                widest=cells.widest,
                most=2.5 * cells.widest,
            )
        )
    top = float(line[-1, 2])
    rows = max(round(top / (float(lumen.z[-1]) / max(round(float(lumen.z[-1]) / cells.along), 2))), 2)
    below = margin if tissue else 0.6
    most = 2.5 * cells.widest
    z = axis(0.0, top, -below, top + crown, top / rows, cells.growth, widest=most, most=most)
    return Space(faces[0], faces[1], z)


def about(lumen: Lumen, line: Array, frame: Array, x: Array, y: Array, z: Array) -> tuple[Array, Array, Array]:
    """Station, distance from the axis, and angle about it, of all cells [z, y, x]."""
    shape = len(z), len(y), len(x)
    tangent = np.gradient(line, lumen.z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    major = lumen.axis @ frame.T
    if np.abs(line[:, :2]).max() < STRAIGHT:
        station = np.broadcast_to(z[:, None, None], shape)
        i = np.clip(np.searchsorted(lumen.z, z), 0, lumen.size - 1)
        turn = np.arctan2(major[i, 1], major[i, 0])[:, None, None]
        radius = np.hypot(y[None, :, None], x[None, None, :])
        angle = np.arctan2(y[None, :, None], x[None, None, :]) - turn
        return station + 0.0, np.broadcast_to(radius, shape) + 0.0, np.broadcast_to(angle, shape) + 0.0
    p = np.stack(np.meshgrid(z, y, x, indexing="ij"), axis=-1)[..., ::-1].reshape(-1, 3)
    _, i = cKDTree(line).query(p)
    ahead = np.einsum("ij,ij->i", p - line[i], tangent[i])
    ends = (i == 0) & (ahead < 0) | (i == lumen.size - 1) & (ahead > 0)
    station = lumen.z[i] + np.where(ends, ahead, np.clip(ahead, -0.15, 0.15))
    foot = line[i] + (station - lumen.z[i])[:, None] * tangent[i]
    d = p - foot
    u = major[i] - np.einsum("ij,ij->i", major[i], tangent[i])[:, None] * tangent[i]
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(tangent[i], u)
    along_u, along_v = np.einsum("ij,ij->i", d, u), np.einsum("ij,ij->i", d, v)
    radius = np.linalg.norm(d, axis=1)
    return station.reshape(shape), radius.reshape(shape), np.arctan2(along_v, along_u).reshape(shape)


def to_ellipse(u: Array, v: Array, a: Array, b: Array) -> Array:
    """Distance to the ellipse, negative inside: exact for a circle, of second order near the wall for others."""
    g = np.hypot(u / a, v / b)
    slope = np.hypot(u / a**2, v / b**2) / np.maximum(g, 1e-6)
    return np.asarray(np.where(g > 1e-6, (g - 1) / np.maximum(slope, 1e-6), -np.minimum(a, b)))


def _neighbour(n: Neighbour, x: Array, y: Array, z: Array) -> Array:
    c, s = n.distance * np.cos(np.radians(n.angle)), n.distance * np.sin(np.radians(n.angle))
    r = np.hypot(y[None, :, None] - s, x[None, None, :] - c)
    return np.asarray(np.maximum(r - n.radius, n.end - z[:, None, None]))
