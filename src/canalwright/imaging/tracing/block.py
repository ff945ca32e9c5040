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


def take(scan: Scan, points: Array, margin: float) -> Block:
    """The block of `scan` about LPS `points` (m, 3) with `margin` mm on every side.

    A block of very many voxels (micro-CT) is averaged over whole groups of voxels. Raises ScanError for points outside
    the scan, voxels too coarse for a canal and greys that say nothing.
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
    part = scan.crop(points.min(0) - margin, points.max(0) + margin)
    factor = 1
    while np.prod(part.shape) / factor**3 > MOST_VOXELS:
        factor += 1
    grey, affine = part.array, part.affine.copy()
    if min(grey.shape) < 8 * factor:
        raise refusal(
            where, f"only {min(grey.shape)} voxels across", allowed="8 or more", remedy="give the whole volume"
        )
    if factor > 1:
        nz, ny, nx = (n // factor for n in grey.shape)
        whole = grey[: nz * factor, : ny * factor, : nx * factor]
        grey = whole.reshape(nz, factor, ny, factor, nx, factor).mean(axis=(1, 3, 5), dtype=np.float32)
        affine[:3, 3] += affine[:3, :3] @ np.full(3, (factor - 1) / 2)
        affine[:3, :3] *= factor
    if not np.isfinite(grey).all() or float(np.ptp(grey)) == 0.0:
        raise refusal(where, "all greys about the canal are the same or not numbers", remedy="choose another scan")
    return Block(np.ascontiguousarray(grey, dtype=np.float32), affine, where)


def _three(point: Array) -> str:
    return ", ".join(f"{v:.2f}" for v in point)
