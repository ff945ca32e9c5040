"""A barrier that a trace may not cross: a ball, or a disc seen as a cut, set by hand where a trace leaks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Barrier:
    """A ball about `centre` (3,) with `radius` (mm), or, with a `normal` (3,), the disc of that radius across it."""

    centre: Array
    radius: float
    normal: Array | None = None

    def blocks(self, start: Array, stop: Array) -> Mask:
        """Whether the straight ways from `start` to `stop`, each (n, 3), meet the barrier, shape (n,).

        A way that begins inside a ball is blocked too.
        """
        start, stop = np.broadcast_arrays(np.asarray(start, float), np.asarray(stop, float))
        way, away = stop - start, self.centre - start
        if self.normal is None:
            size = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
            share = np.clip(np.einsum("ij,ij->i", away, way) / size, 0, 1)
            return np.asarray(np.linalg.norm(start + share[:, None] * way - self.centre, axis=1) <= self.radius)
        normal = np.asarray(self.normal, float) / np.linalg.norm(self.normal)
        rise, gap = way @ normal, away @ normal
        share = gap / np.where(np.abs(rise) < 1e-12, np.inf, rise)
        met = np.linalg.norm(start + share[:, None] * way - self.centre, axis=1) <= self.radius
        return np.asarray((np.abs(rise) >= 1e-12) & (share >= 0) & (share <= 1) & met)

    def shuts(self, points: Array, step: float) -> Mask:
        """Nodes (..., 3) of a grid of `step` mm that no way may use: inside the ball, or within a step of the disc."""
        away = np.asarray(points, float) - self.centre
        distance = np.linalg.norm(away, axis=-1)
        if self.normal is None:
            return np.asarray(distance <= self.radius)
        normal = np.asarray(self.normal, float) / np.linalg.norm(self.normal)
        return np.asarray((np.abs(away @ normal) <= step) & (distance <= self.radius))
