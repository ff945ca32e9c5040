"""The outer surface of the root, told from the wall of the pulp cavity, and the distance to it.

A dentine mesh may be the outer surface alone, or one closed surface that turns in at each apex and
lines the cavity. Dentine and lumen together are filled as voxels; what the outside air reaches,
openings of the lumen being shut by the lumen itself, touches the outer surface only.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.mesh.voxels import Block, block, fill, outside, sample

Array = NDArray[np.float64]

VOXEL = 0.12
CLOSING = 2
SPACING = 0.3
NEAREST = 12


class Outer:
    """The outer triangles, `corners` (m, 3, 3), for nearest-point questions; `tooth` is all within, as voxels."""

    def __init__(self, corners: Array, tooth: Block) -> None:
        self.corners = corners
        self.tooth = tooth
        self.edge = float(np.median(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)))
        flat = corners.reshape(-1, 3)
        spread, self._owner = sample(flat, np.arange(len(flat)).reshape(-1, 3), SPACING)
        self._tree = cKDTree(spread)

    def nearest(self, points: Array) -> tuple[Array, Array]:
        """Distance (k,) from points (k, 3) to the surface, and the nearest points on it (k, 3).

        The triangles of the 12 nearest samples (0.3 mm apart) are tried exactly.
        """
        points = np.asarray(points, dtype=float).reshape(-1, 3)
        _, index = self._tree.query(points, k=min(NEAREST, len(self._owner)))
        faces = self.corners[self._owner[index.reshape(len(points), -1)]]
        feet = closest_on_triangles(points[:, None], faces)
        distance = np.linalg.norm(feet - points[:, None], axis=2)
        best = np.argmin(distance, axis=1)
        rows = np.arange(len(points))
        return distance[rows, best], feet[rows, best]


def outer_surface(dentine: Surface, lumen: Surface) -> Outer:
    """The outer faces of the dentine: those with outside air within a voxel and a half on either side."""
    both = np.vstack([dentine.vertices, lumen.vertices])
    room = block((both.min(axis=0), both.max(axis=0)), VOXEL, margin=2 * CLOSING + 3)
    solid = fill(dentine.vertices, dentine.faces, room) | fill(lumen.vertices, lumen.faces, room)
    air = outside(solid, CLOSING)
    corners = dentine.vertices[dentine.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    free = Block(air, room.origin, room.size)
    shown = np.zeros(len(corners), dtype=bool)
    for weights in np.vstack([np.full((1, 3), 1 / 3), np.eye(3) * 0.7 + 0.1]):
        points = np.einsum("j,ijk->ik", weights, corners)
        shown |= free.holds(points + 1.5 * VOXEL * normal)
    return Outer(corners[shown], Block(~air, room.origin, room.size))


def closest_on_triangles(points: Array, corners: Array) -> Array:
    """Nearest point of each triangle `corners` (..., 3, 3) to each of `points` (..., 3): Ericson 2004, sec. 5.1.5.

    The foot of the perpendicular where it falls inside, else the nearest point of the three edges.
    """
    a, b, c = (corners[..., i, :] for i in range(3))
    ab, ac, ap = b - a, c - a, points - a
    d00, d01, d11 = _dot(ab, ab), _dot(ab, ac), _dot(ac, ac)
    d20, d21 = _dot(ap, ab), _dot(ap, ac)
    size = np.maximum(d00 * d11 - d01 * d01, 1e-30)
    v, w = (d11 * d20 - d01 * d21) / size, (d00 * d21 - d01 * d20) / size
    inside = (v >= 0) & (w >= 0) & (v + w <= 1)
    best = a + v[..., None] * ab + w[..., None] * ac
    least = np.where(inside, _dot(points - best, points - best), np.inf)
    for p, q in ((a, b), (b, c), (c, a)):
        along = q - p
        t = np.clip(_dot(points - p, along) / np.maximum(_dot(along, along), 1e-30), 0, 1)
        foot = p + t[..., None] * along
        away = _dot(points - foot, points - foot)
        nearer = away < least
        best = np.where(nearer[..., None], foot, best)
        least = np.where(nearer, away, least)
    return np.asarray(best)


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(np.einsum("...i,...i->...", a, b))
