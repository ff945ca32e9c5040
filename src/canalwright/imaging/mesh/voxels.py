"""A mesh as a block of filled voxels, for finding what hangs together; never for measuring.

Rays are shot through voxel centres along all three axes. Along each ray the signed crossings of the
surface are summed to a winding number (a voxel is inside where it is not 0), and two of three axes
must agree, so that self-overlaps fill and a small hole spoils nothing.
"""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Block:
    """`filled` [x, y, z]; voxel (i, j, k) has its centre at `origin + size * (i, j, k)`."""

    filled: Mask
    origin: Array
    size: float

    def index(self, points: Array) -> NDArray[np.int64]:
        """Nearest voxel (m, 3) of points (m, 3), kept inside the block."""
        near = np.rint((np.asarray(points) - self.origin) / self.size).astype(np.int64)
        return np.clip(near, 0, np.array(self.filled.shape) - 1)

    def holds(self, points: Array) -> Mask:
        """Whether each point (m, 3) lies in a filled voxel."""
        i, j, k = self.index(points).T
        return np.asarray(self.filled[i, j, k])


def block(corners: tuple[Array, Array], size: float, margin: int = 3) -> Block:
    """An empty block around the box `corners` (low, high) with `margin` voxels to spare on each side."""
    low, high = corners
    shape = np.ceil((high - low) / size).astype(int) + 1 + 2 * margin
    return Block(np.zeros(tuple(shape), dtype=bool), np.asarray(low - margin * size), size)


def fill(vertices: Array, faces: NDArray[np.int64], into: Block) -> Mask:
    """Which voxels of `into` lie inside the surface of `vertices` (n, 3) and `faces` (m, 3)."""
    scaled = (vertices - into.origin) / into.size
    votes = np.zeros(into.filled.shape, dtype=np.int8)
    for axis in range(3):
        order = [(axis + 1) % 3, (axis + 2) % 3, axis]
        shape = tuple(into.filled.shape[a] for a in order)
        steps = np.zeros(shape, dtype=np.int16)
        _crossings(np.ascontiguousarray(scaled[:, order]), faces, steps)
        inside = np.cumsum(steps, axis=2, dtype=np.int16) != 0
        votes += np.transpose(inside, np.argsort(order))
    return np.asarray(votes >= 2)


def touch(vertices: Array, faces: NDArray[np.int64], into: Block) -> Mask:
    """Which voxels the surface passes through, by points on it no more than 0.4 voxel apart."""
    mask = np.zeros(into.filled.shape, dtype=bool)
    i, j, k = into.index(sample(vertices, faces, 0.4 * into.size)[0]).T
    mask[i, j, k] = True
    return mask


def sample(vertices: Array, faces: NDArray[np.int64], spacing: float) -> tuple[Array, NDArray[np.int64]]:
    """Points on the faces, no more than `spacing` apart within each face, and the face of each.

    Barycentric grids: a face whose longest edge is L gets a grid of ceil(L / spacing) intervals.
    """
    corners = vertices[faces]
    longest = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max(axis=1)
    counts = np.maximum(1, np.ceil(longest / spacing).astype(int))
    points, owners = [], []
    for n in np.unique(counts):
        these = np.nonzero(counts == n)[0]
        u, v = np.array([(a, b) for a in range(n + 1) for b in range(n + 1 - a)]).T / n
        a, b, c = (corners[these, i, None, :] for i in range(3))
        points.append((a + u[:, None] * (b - a) + v[:, None] * (c - a)).reshape(-1, 3))
        owners.append(np.repeat(these, len(u)))
    return np.vstack(points), np.concatenate(owners)


def outside(solid: Mask, closing: int) -> Mask:
    """What can be reached from the border of the block when gaps up to 2 * `closing` voxels are shut."""
    shut = ndimage.binary_dilation(solid, iterations=closing) if closing else solid
    parts, _ = ndimage.label(~shut)
    free = parts == parts[0, 0, 0]
    return np.asarray(ndimage.binary_dilation(free, iterations=closing) & ~solid if closing else free)


@numba.njit(cache=True)
def _crossings(v, faces, steps):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add the signed crossings of each face with the rays x, y = whole numbers, at the first voxel beyond it."""
    nx, ny, nz = steps.shape
    for f in range(faces.shape[0]):
        ax, ay, az = v[faces[f, 0], 0], v[faces[f, 0], 1], v[faces[f, 0], 2]
        bx, by, bz = v[faces[f, 1], 0], v[faces[f, 1], 1], v[faces[f, 1], 2]
        cx, cy, cz = v[faces[f, 2], 0], v[faces[f, 2], 1], v[faces[f, 2], 2]
        twice = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if twice == 0.0:
            continue
        sign = 1 if twice > 0 else -1
        for i in range(max(0, int(np.ceil(min(ax, bx, cx)))), min(nx - 1, int(np.floor(max(ax, bx, cx)))) + 1):
            for j in range(max(0, int(np.ceil(min(ay, by, cy)))), min(ny - 1, int(np.floor(max(ay, by, cy)))) + 1):
                # half-open edges by orientation: a ray through a shared edge or corner is counted once
                wa = _edge(bx, by, cx, cy, i, j) * sign
                wb = _edge(cx, cy, ax, ay, i, j) * sign
                wc = _edge(ax, ay, bx, by, i, j) * sign
                if wa < 0 or wb < 0 or wc < 0:
                    continue
                if (
                    (wa == 0 and not _owns(bx, by, cx, cy, sign))
                    or (wb == 0 and not _owns(cx, cy, ax, ay, sign))
                    or (wc == 0 and not _owns(ax, ay, bx, by, sign))
                ):
                    continue
                z = (wa * az + wb * bz + wc * cz) / (wa + wb + wc)
                k = max(0, int(np.ceil(z)))
                if k < nz:
                    steps[i, j, k] += sign


@numba.njit(cache=True)
def _edge(px, py, qx, qy, i, j):  # type: ignore[no-untyped-def]  # pragma: no cover
    return (qx - px) * (j - py) - (qy - py) * (i - px)


@numba.njit(cache=True)
def _owns(px, py, qx, qy, sign):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Top-left rule: which of two faces owns a point on their common edge."""
    dx, dy = (qx - px) * sign, (qy - py) * sign
    return dy < 0 or (dy == 0 and dx > 0)
