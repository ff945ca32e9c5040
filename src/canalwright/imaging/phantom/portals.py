"""Side branches of a phantom: lateral canals, isthmuses, deltas, as rows of capsules, with their truth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.phantom.fill import Tube

Array = NDArray[np.float64]
Levels = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class BranchShape:
    """A straight round side branch of canal number `canal`, `height` mm above the root's end, towards `towards` degrees
    about the vertical, falling by `fall` degrees towards the root's end; `blind`: it stops half way to the surface.
    """

    height: float
    diameter: float = 0.12
    towards: float = 90.0
    fall: float = 15.0
    canal: int = 0
    kind: str = "lateral canal"
    blind: bool = False


@dataclass(frozen=True, slots=True)
class IsthmusShape:
    """A sheet of `thickness` mm between canals 0 and 1 from height `low` to `high` mm above the root's end."""

    low: float
    high: float
    thickness: float = 0.1


@dataclass(frozen=True)
class TruePortal:
    """What was made: where it leaves the canal's line, where it ends, both (3,); diameter (or thickness), kind."""

    start: Array
    exit: Array
    diameter: float
    kind: str


@dataclass(frozen=True)
class Side:
    """Capsules: ends (m, 2, 3) and radii (m,), mm."""

    ends: Array
    radius: Array

    def carve(self, hollow: Levels, start: Array, steps: Array) -> None:
        """Lower the levels [z, y, x] (distance to the lumen, negative inside) to those of the capsules, in place."""
        inverse = np.linalg.inv(steps)
        cell = float(np.linalg.norm(steps[:, 0]))
        for ends, radius in zip(self.ends, self.radius, strict=True):
            index = (ends - start) @ inverse.T
            pad = (radius + 3 * cell) / cell
            low = np.clip(np.floor(index.min(0) - pad), 0, None).astype(int)
            high = np.minimum(np.ceil(index.max(0) + pad) + 1, hollow.shape[::-1]).astype(int)
            if np.all(high > low):
                _carve(hollow, low, high, start, np.ascontiguousarray(steps), ends, float(radius))


def delta(height: float, count: int = 3, diameter: float = 0.1, *, canal: int = 0) -> tuple[BranchShape, ...]:
    """`count` branches that fan out near the root's end, evenly about the canal."""
    return tuple(
        BranchShape(height + 0.25 * (k % 2), diameter, 360.0 * k / count + 20.0, 50.0, canal, "delta")
        for k in range(count)
    )


def build(
    branches: Sequence[BranchShape], isthmuses: Sequence[IsthmusShape], canals: Sequence[Tube], root: Tube
) -> tuple[Side, tuple[TruePortal, ...]]:
    """The capsules of all side branches, and their truth."""
    ends, radii, truth = [], [], []
    for shape in branches:
        tube = canals[shape.canal]
        start = np.array([np.interp(shape.height, tube.centre[:, 2], c) for c in tube.centre.T])
        turn, fall = np.radians(shape.towards), np.radians(shape.fall)
        way = np.array([np.cos(turn) * np.cos(fall), np.sin(turn) * np.cos(fall), -np.sin(fall)])
        reach = np.arange(0.0, 8.0, 0.005)
        outside = root.level(start + reach[:, None] * way) > 0
        out = float(reach[int(np.argmax(outside))])
        stop = 0.6 * out if shape.blind else out
        ends.append([start, start + (stop if shape.blind else out + 0.15) * way])
        radii.append(shape.diameter / 2)
        truth.append(TruePortal(start, start + stop * way, shape.diameter, "blind" if shape.blind else shape.kind))
    for sheet in isthmuses:
        heights = np.arange(sheet.low, sheet.high + 1e-9, sheet.thickness / 6)
        pair = [
            np.column_stack([np.interp(heights, t.centre[:, 2], c) for c in t.centre.T]) for t in (canals[0], canals[1])
        ]
        ends += list(np.stack(pair, axis=1))
        radii += [sheet.thickness / 2] * len(heights)
        middle = len(heights) // 2
        truth.append(TruePortal(pair[0][middle], pair[1][middle], sheet.thickness, "isthmus"))
    return Side(np.array(ends, float).reshape(-1, 2, 3), np.array(radii, float)), tuple(truth)


@numba.njit(cache=True, fastmath=True)
def _carve(out, low, high, start, steps, ends, radius):  # type: ignore[no-untyped-def]
    way = ends[1] - ends[0]
    size = way[0] ** 2 + way[1] ** 2 + way[2] ** 2
    for k in range(low[2], high[2]):
        for j in range(low[1], high[1]):
            for i in range(low[0], high[0]):
                along = 0.0
                for c in range(3):
                    p = start[c] + steps[c, 0] * i + steps[c, 1] * j + steps[c, 2] * k
                    along += (p - ends[0, c]) * way[c]
                t = min(max(along / max(size, 1e-18), 0.0), 1.0)
                away = 0.0
                for c in range(3):
                    p = start[c] + steps[c, 0] * i + steps[c, 1] * j + steps[c, 2] * k
                    away += (p - ends[0, c] - t * way[c]) ** 2
                level = np.sqrt(away) - radius
                if level < out[k, j, i]:
                    out[k, j, i] = level
