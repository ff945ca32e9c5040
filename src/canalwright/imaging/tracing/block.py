"""The part of a scan that a canal is traced in, ready to be sampled at any point."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, spline_filter

from canalwright.imaging.refusal import refusal
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Greys = NDArray[np.float32]
MOST_VOXELS = 24_000_000
COARSEST = 0.5


@dataclass(frozen=True)
class Block:
    """Greys [z, y, x] with the affine of their own index; `name`: the scan they are from."""

    grey: Greys
    affine: Array
    name: str = "scan"

    @property
    def spacing(self) -> Array:
        """Voxel size along x, y, z, shape (3,), mm."""
        return np.asarray(np.linalg.norm(self.affine[:3, :3], axis=0))

    @property
    def voxel(self) -> float:
        """Side of a cube as large as a voxel, mm."""
        return float(np.prod(self.spacing) ** (1 / 3))

    def to_index(self, points: Array) -> Array:
        """LPS mm to (x, y, z) index, shape (..., 3)."""
        inverse = np.linalg.inv(self.affine)
        return np.asarray(np.asarray(points, float) @ inverse[:3, :3].T + inverse[:3, 3])

    def to_patient(self, index: Array) -> Array:
        """(x, y, z) index to LPS mm, shape (..., 3)."""
        return np.asarray(np.asarray(index, float) @ self.affine[:3, :3].T + self.affine[:3, 3])

    @cached_property
    def _coefficients(self) -> Greys:
        return np.asarray(spline_filter(self.grey, order=3, output=np.float32, mode="nearest"))

    def sample(self, points: Array, *, smooth: bool = True) -> Array:
        """Greys at LPS points (..., 3), by cubic (`smooth`) or linear interpolation; the edge value beyond the block."""
        at = np.moveaxis(self.to_index(points)[..., ::-1], -1, 0)
        table, order = (self._coefficients, 3) if smooth else (self.grey, 1)
        return np.asarray(map_coordinates(table, at, order=order, mode="nearest", prefilter=False, output=np.float64))

    def inside(self, points: Array) -> NDArray[np.bool_]:
        """Whether LPS points (..., 3) lie in the block."""
        index = self.to_index(points)
        return np.asarray(np.all((index >= -0.5) & (index <= np.array(self.grey.shape[::-1]) - 0.5), axis=-1))


def take(scan: Scan, points: Array, margin: float, *, most: int = MOST_VOXELS) -> Block:
    """The block of `scan` about LPS `points` (m, 3) with `margin` mm on every side.

    A block of more than `most` voxels (micro-CT) is averaged over whole groups of voxels while it is read, a few
    slices at a time. Raises ScanError for points outside the scan, voxels too coarse for a canal and greys that say
    nothing.
    """
    where = scan.path or "scan in memory"
    for point in points:
        if not scan.holds(point):
            low, high = scan.extent
            raise refusal(
                where,
                f"the point ({_three(point)}) lies outside the volume",
                allowed=f"from ({_three(low)}) to ({_three(high)}), LPS mm",
                remedy="pick it again in this scan",
            )
    if scan.spacing.max() > COARSEST:
        raise refusal(
            where,
            f"voxel size {scan.spacing.max():.3g} mm",
            allowed=f"{COARSEST} mm at most to trace a canal",
            remedy="take a scan of small field with finer voxels",
        )
    first, last = _range(scan, points.min(0) - margin, points.max(0) + margin)
    size = last - first
    factor = 1
    while np.prod(size.astype(float)) / factor**3 > most:
        factor += 1
    if min(size) < 8 * factor:
        raise refusal(where, f"only {min(size)} voxels across", allowed="8 or more", remedy="give the whole volume")
    grey = _averaged(scan, first, size // factor * factor, factor)
    affine = scan.affine.copy()
    affine[:3, 3] = scan.to_patient(first.astype(float) + (factor - 1) / 2)
    affine[:3, :3] *= factor
    if not np.isfinite(grey).all() or float(np.ptp(grey)) == 0.0:
        raise refusal(where, "all greys about the canal are the same or not numbers", remedy="choose another scan")
    return Block(np.ascontiguousarray(grey, dtype=np.float32), affine, where)


def _range(scan: Scan, low: Array, high: Array) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """First and last (exclusive) index (x, y, z) of the voxels that cover an LPS box."""
    corners = np.array([[(low, high)[b >> a & 1][a] for a in range(3)] for b in range(8)], dtype=float)
    index, size = scan.to_index(corners), np.array(scan.shape[::-1])
    first = np.clip(np.floor(index.min(0)), 0, size).astype(int)
    return first, np.clip(np.ceil(index.max(0)) + 1, 0, size).astype(int)


def _averaged(scan: Scan, first: NDArray[np.int_], size: NDArray[np.int_], factor: int) -> Greys:
    """Greys [z, y, x] of the box at `first`, averaged over cubes of `factor` voxels, one layer of cubes at a time."""
    (x, y, z), (nx, ny, nz) = (int(v) for v in first), (int(v) for v in size)
    if factor == 1:
        return scan.block((x, y, z), (x + nx, y + ny, z + nz))
    out = np.empty((nz // factor, ny // factor, nx // factor), np.float32)
    for k in range(len(out)):
        part = scan.block((x, y, z + k * factor), (x + nx, y + ny, z + (k + 1) * factor))
        out[k] = part.reshape(factor, ny // factor, factor, nx // factor, factor).mean(axis=(0, 2, 4))
    return out


def _three(point: Array) -> str:
    return ", ".join(f"{v:.2f}" for v in point)
