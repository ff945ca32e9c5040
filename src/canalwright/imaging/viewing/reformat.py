"""The straightened canal and the sections across it: greys of a scan laid along a canal's own line.

The frame turns about the line as little as can be (`centreline.minimal_rotation`), so that nothing in the straightened picture
twists that does not twist in the tooth. Beyond both ends the line goes straight on. Greys are interpolated linearly.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from canalwright.imaging.centreline import minimal_rotation
from canalwright.imaging.found import NINETY, FoundCanal
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
BELOW, ABOVE = 3.0, 6.0
"""How far the line is carried on beyond terminus and orifice, mm."""


@dataclass(frozen=True)
class Line:
    """A canal's line with its frame, by station `z` (n,), mm from the terminus; arrays (n, 3), LPS mm."""

    z: Array
    points: Array
    tangent: Array
    one: Array
    two: Array

    @classmethod
    def of(cls, found: FoundCanal, step: float = 0.1) -> "Line":
        """The line of a found canal, carried on beyond its ends."""
        lumen = found.lumen
        z = np.arange(lumen.z[0] - BELOW, lumen.z[-1] + ABOVE + 1e-9, step)
        inside = np.clip(z, lumen.z[0], lumen.z[-1])
        points = np.column_stack([np.interp(inside, lumen.z, lumen.centre[:, k]) for k in range(3)])
        few = min(10, lumen.size - 1)
        low, high = (_unit(lumen.centre[i] - lumen.centre[j]) for i, j in ((few, 0), (-1, -1 - few)))
        points += np.minimum(z - lumen.z[0], 0)[:, None] * low + np.maximum(z - lumen.z[-1], 0)[:, None] * high
        tangent = np.gradient(points, z, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1)[:, None]
        one = minimal_rotation(points, tangent)
        return cls(z, points, tangent, one, np.cross(tangent, one))

    def at(self, z: float) -> tuple[Array, Array, Array]:
        """Point and the two directions across at a station, each (3,)."""
        row = [np.array([np.interp(z, self.z, table[:, k]) for k in range(3)]) for table in (self.points, self.one)]
        along = np.array([np.interp(z, self.z, self.tangent[:, k]) for k in range(3)])
        along = _unit(along)
        one = _unit(row[1] - (row[1] @ along) * along)
        return row[0], one, np.cross(along, one)


def straightened(scan: Scan, line: Line, turn: float, *, reach: float = 6.0, step: float = 0.1) -> Array:
    """Greys along the canal, rows by `line.z`, columns from -reach to +reach in the direction `turn` (radians from `one`)."""
    across = np.arange(-reach, reach + 1e-9, step)
    way = np.cos(turn) * line.one + np.sin(turn) * line.two
    return sample(scan, line.points[:, None] + across[:, None] * way[:, None])


def section(scan: Scan, line: Line, z: float, *, reach: float = 4.0, step: float = 0.05) -> Array:
    """Greys in the plane across the canal at `z`: rows along -two (down), columns along one, from -reach to +reach."""
    middle, one, two = line.at(z)
    across = np.arange(-reach, reach + 1e-9, step)
    return sample(scan, middle - across[:, None, None] * two + across[:, None] * one)


def half_along(found: FoundCanal, line: Line, turn: float) -> Array:
    """Half the lumen's width in the direction `turn` at the canal's own stations, shape (n,), mm."""
    lumen = found.lumen
    angle = _angles(found, line)
    c, s = np.cos(turn - angle), np.sin(turn - angle)
    return np.asarray(1 / np.sqrt((c / (lumen.major / 2)) ** 2 + (s / (lumen.minor / 2)) ** 2))


def long_axis(found: FoundCanal, line: Line, z: float) -> float:
    """Direction of the greatest width at `z`, radians from `one` towards `two`."""
    double = 2 * _angles(found, line)
    s, c = (np.interp(z, found.lumen.z, part) for part in (np.sin(double), np.cos(double)))
    return float(np.arctan2(s, c) / 2)


def likely(value: Array, error: Array) -> tuple[Array, Array]:
    """5-95 % interval of widths or walls with standard deviations `error`, never below 0."""
    spread = NINETY * np.where(np.isfinite(error), error, 0.0)
    return np.maximum(value - spread, 0.0), value + spread


def sample(scan: Scan, points: Array) -> Array:
    """Greys at LPS points (..., 3), linear; the edge's grey outside the volume."""
    index = np.moveaxis(scan.to_index(points)[..., ::-1], -1, 0)
    stored = map_coordinates(scan.voxels, index, order=1, mode="nearest", prefilter=False, output=np.float32)
    return np.asarray(stored * scan.slope + scan.intercept)


def _angles(found: FoundCanal, line: Line) -> Array:
    """Direction of the greatest width in the line's frame at the canal's own stations, radians."""
    one = np.column_stack([np.interp(found.lumen.z, line.z, line.one[:, k]) for k in range(3)])
    two = np.column_stack([np.interp(found.lumen.z, line.z, line.two[:, k]) for k in range(3)])
    axis = found.lumen.axis
    return np.asarray(np.arctan2(np.einsum("ij,ij->i", axis, two), np.einsum("ij,ij->i", axis, one)))


def _unit(v: Array) -> Array:
    return np.asarray(v / max(float(np.linalg.norm(v)), 1e-12))
