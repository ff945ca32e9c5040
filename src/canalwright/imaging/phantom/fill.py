"""Implicit tubes, and how much of each cell of a grid they fill."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.centreline import minimal_rotation

Array = NDArray[np.float64]
Shares = NDArray[np.float32]


@dataclass(frozen=True)
class Tube:
    """An oval tube about a line that rises steadily in z: arrays by station at a fixed step of arc length `step`.

    `centre`, `tangent`, `normal` (n, 3); `minor`, `major` widths and `angle` of the major axis from the normal
    (n,). `cap`: below this arc length the tube closes as half an ellipsoid (0 = it goes on, straight).
    """

    centre: Array
    tangent: Array
    normal: Array
    minor: Array
    major: Array
    angle: Array
    step: float
    cap: float = 0.0

    @classmethod
    def along(cls, centre: Array, minor: Array, major: Array, angle: Array, cap: float = 0.0) -> "Tube":
        """A tube along points `centre` (n, 3), equally spaced to first order (their mean step is used)."""
        arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(centre, axis=0), axis=1))])
        even = np.linspace(0, arc[-1], len(arc))
        points = np.column_stack([np.interp(even, arc, c) for c in centre.T])
        tangent = np.gradient(points, even, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1)[:, None]
        minor, major, angle = (np.interp(even, arc, np.asarray(v, float)) for v in (minor, major, angle))
        normal = minimal_rotation(points, tangent)
        return cls(points, tangent, normal, minor, major, angle, float(even[1]), cap)

    def at(self, s: Array, values: Array) -> Array:
        """A table, shape (n,) or (n, k), at arc lengths `s` (straight beyond the ends)."""
        flat = values.reshape(len(values), -1)
        t = np.asarray(s, float) / self.step
        i = np.clip(np.floor(t).astype(int), 0, len(flat) - 2)
        f = (t - i)[:, None]
        out = flat[i] * (1 - f) + flat[i + 1] * f
        return np.asarray(out[:, 0] if values.ndim == 1 else out)

    def arc(self, height: float) -> float:
        """Arc length at which the line reaches z = `height`."""
        return float(np.interp(height, self.centre[:, 2], np.arange(len(self.centre)) * self.step))

    def major_axis(self) -> Array:
        """Unit direction of the major width, shape (n, 3)."""
        other = np.cross(self.tangent, self.normal)
        return np.asarray(np.cos(self.angle)[:, None] * self.normal + np.sin(self.angle)[:, None] * other)

    def level(self, points: Array) -> Array:
        """Signed distance to the surface, first order, negative inside; points (m, 3), shape (m,)."""
        points = np.ascontiguousarray(points, dtype=float)
        return np.asarray(_levels(points, *self.tables()))

    def tables(self) -> tuple[Array, Array, Array, Array, Array, float, float]:
        """What the kernels need: centre, tangent, major axis, half widths (minor, major), step, cap."""
        return (
            self.centre, self.tangent, self.major_axis(), self.minor / 2, self.major / 2, self.step, self.cap,
        )  # fmt: skip


def fill(
    root: Tube,
    canals: Sequence[Tube],
    start: Array,
    steps: Array,
    size: NDArray[np.int_],
    carve: Callable[[Shares, Array, Array], None] | None = None,
) -> tuple[Shares, Shares, Shares]:
    """Share of each fine cell in a lumen and inside the root's surface, and its distance outside the root.

    Cell (i, j, k) has its centre at `start + steps @ (i, j, k)`; `size` (x, y, z). Arrays [z, y, x], float32. `carve`
    may lower the distances to the lumen (levels, start, steps) for hollows that are no tubes.
    """
    cell = float(np.linalg.norm(steps[:, 0]))
    shape = (int(size[2]), int(size[1]), int(size[0]))
    outside = np.empty(shape, np.float32)
    _grid_levels(outside, outside, start, steps, False, *root.tables())
    inside = np.clip(0.5 - outside / cell, 0, 1)
    hollow = np.full(shape, 1e9, np.float32)
    for tube in canals:
        _grid_levels(hollow, outside, start, steps, True, *tube.tables())
    if carve is not None:
        carve(hollow, start, steps)
    lumen = np.minimum(np.clip(0.5 - hollow / cell, 0, 1), inside)
    return lumen, inside, outside


@numba.njit(cache=True, fastmath=True)
def _level(p, centre, tangent, axis, short, long, step, cap, guess):  # type: ignore[no-untyped-def]
    n = len(centre)
    t = guess
    for _ in range(5):
        i = min(max(int(np.floor(t)), 0), n - 2)
        f = t - i
        move = 0.0
        for c in range(3):
            move += (p[c] - (centre[i, c] * (1 - f) + centre[i + 1, c] * f)) * (
                tangent[i, c] * (1 - f) + tangent[i + 1, c] * f
            )
        t += move / step
        if abs(move) < 1e-4:
            break
    i = min(max(int(np.floor(t)), 0), n - 2)
    f = min(max(t - i, -1e3), 1e3)
    g = min(max(f, 0.0), 1.0)
    along = 0.0
    squared = 0.0
    for c in range(3):
        d = p[c] - (centre[i, c] * (1 - f) + centre[i + 1, c] * f)
        along += d * (axis[i, c] * (1 - g) + axis[i + 1, c] * g)
        squared += d * d
    across = squared - along * along
    a = max(long[i] * (1 - f) + long[i + 1] * f, 0.02)
    b = max(short[i] * (1 - f) + short[i + 1] * f, 0.02)
    q = along * along / (a * a) + across / (b * b)
    slope = along * along / a**4 + across / b**4
    s = t * step
    if cap > 0 and s < cap:
        q += ((s - cap) / cap) ** 2
        slope += (s - cap) ** 2 / cap**4
    if slope < 1e-12:
        return -b, t
    size = np.sqrt(q)
    return (size - 1) * size / np.sqrt(slope), t


@numba.njit(cache=True, fastmath=True)
def _levels(points, centre, tangent, axis, short, long, step, cap):  # type: ignore[no-untyped-def]
    out = np.empty(len(points))
    for m in range(len(points)):
        guess = (points[m, 2] - centre[0, 2]) / step
        out[m], _ = _level(points[m], centre, tangent, axis, short, long, step, cap, guess)
    return out


@numba.njit(cache=True, fastmath=True, parallel=True)
def _grid_levels(out, outside, start, steps, keep_least, centre, tangent, axis, short, long, step, cap):  # type: ignore[no-untyped-def]
    nz, ny, nx = out.shape
    for k in numba.prange(nz):
        p = np.empty(3)
        for j in range(ny):
            guess = -1.0
            for i in range(nx):
                if keep_least and outside[k, j, i] > step:
                    continue
                for c in range(3):
                    p[c] = start[c] + steps[c, 0] * i + steps[c, 1] * j + steps[c, 2] * k
                if guess < 0 or i == 0:
                    guess = (p[2] - centre[0, 2]) / step
                level, guess = _level(p, centre, tangent, axis, short, long, step, cap, guess)
                if keep_least:
                    out[k, j, i] = min(out[k, j, i], level)
                else:
                    out[k, j, i] = level
