"""A box of cells, fine round the canal and coarser away from it.

Three lists of faces make the cells; the first and the last cell of each list are borders that hold their temperature, and their
"centre" is the border's face. Arrays are indexed [z, y, x]. Lengths mm.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
Single = NDArray[np.float32]


@dataclass(frozen=True)
class Space:
    """`x`, `y`, `z`: faces of the cells along each axis, borders included; z grows coronally."""

    x: Array
    y: Array
    z: Array

    @property
    def shape(self) -> tuple[int, int, int]:
        """Cells along z, y, x."""
        return len(self.z) - 1, len(self.y) - 1, len(self.x) - 1

    @property
    def size(self) -> int:
        """Number of cells that are not borders."""
        return (len(self.x) - 3) * (len(self.y) - 3) * (len(self.z) - 3)

    def centres(self) -> tuple[Array, Array, Array]:
        """Centres of the cells along x, y, z; those of the borders lie on their inner faces."""
        found = []
        for face in (self.x, self.y, self.z):
            centre = (face[1:] + face[:-1]) / 2
            centre[0], centre[-1] = face[1], face[-2]
            found.append(centre)
        return found[0], found[1], found[2]

    def widths(self) -> tuple[Array, Array, Array]:
        """Widths of the cells along x, y, z."""
        return np.diff(self.x), np.diff(self.y), np.diff(self.z)


def axis(
    low: float, high: float, start: float, end: float, width: float, growth: float,
    *, root: tuple[float, float] | None = None, widest: float = 0.3, most: float = 1.0,
) -> Array:  # fmt: skip
    """Faces from `start` to `end`, one border cell beyond each: equal to `width` from `low` to `high`, growing outwards.

    Within `root` cells grow to `widest` at most, beyond it to `most`.
    """
    count = max(int(np.ceil((high - low) / width - 1e-9)), 1)
    middle = (low + high) / 2 + (np.arange(count + 1) - count / 2) * width
    span = root or (start, end)
    right = _grow(middle[-1], end, width, growth, span[1], widest, most)
    left = -_grow(-middle[0], -start, width, growth, -span[0], widest, most)
    faces = np.concatenate([left[::-1], middle, right])
    return np.concatenate([[2 * faces[0] - faces[1]], faces, [2 * faces[-1] - faces[-2]]])


def _grow(begin: float, end: float, width: float, growth: float, root: float, widest: float, most: float) -> Array:
    """Faces after `begin` up to `end`, stretched a little so that the last one meets it."""
    at, found = begin, []
    while end - at > 1e-9:
        width = min(width * growth, max(widest, width) if at < root else max(most, width))
        at += width
        found.append(at)
    if not found:
        return np.zeros(0)
    if len(found) > 1 and found[-1] - end > 0.5 * (found[-1] - found[-2]):
        found.pop()
    return np.asarray(begin + (np.asarray(found) - begin) * (end - begin) / (found[-1] - begin))


def share(level: Array, x: Array, y: Array, z: Array) -> Single:
    """Share of each cell (widths `x`, `y`, `z` by axis) that lies where the distance `level` [z, y, x] is negative.

    The surface is taken as a plane through the cell: the volume below a plane in a box, in closed form (inclusion and exclusion
    over the corners). Exact for planes.
    """
    gz, gy, gx = (np.gradient(level, _coordinate(w), axis=i) for i, w in enumerate((z, y, x)))
    size = np.sqrt(gx * gx + gy * gy + gz * gz) + 1e-12
    a, b, c = (np.maximum(np.abs(g) / size * w, 2e-3) for g, w in
               ((gx, x[None, None, :]), (gy, y[None, :, None]), (gz, z[:, None, None])))  # fmt: skip
    d = -level / np.maximum(size, 0.2)
    reach = (a + b + c) / 2
    near = np.abs(d) < reach
    out = (d > 0).astype(np.float32)
    a, b, c, d = a[near], b[near], c[near], d[near] + reach[near]
    total = d**3
    for part, sign in ((a, -1), (b, -1), (c, -1), (a + b, 1), (a + c, 1), (b + c, 1), (a + b + c, -1)):
        total = total + sign * np.maximum(d - part, 0.0) ** 3
    out[near] = np.clip(total / (6 * a * b * c), 0.0, 1.0)
    return np.asarray(out)


def _coordinate(width: Array) -> Array:
    return np.cumsum(width) - width / 2
