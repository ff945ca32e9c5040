"""Where voxels lie: index and millimetres, both ways.

A point in voxel indices is (i, j, k) = (x, y, z) index, 0 at the centre of the first voxel; the affine takes (i, j, k, 1)
to patient LPS millimetres (DICOM PS3.3 C.7.6.2.1.1).
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.refusal import refusal

Array = NDArray[np.float64]
Index = NDArray[np.int64]


class Grid:
    """What a scan in memory and a scan that was only opened have in common: `affine` (4, 4), `shape` (z, y, x), `path`."""

    affine: Array
    path: str

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along z, y, x."""
        raise NotImplementedError

    @property
    def spacing(self) -> Array:
        """Voxel size along x, y, z, shape (3,), mm."""
        return np.asarray(np.linalg.norm(self.affine[:3, :3], axis=0))

    def to_index(self, points: Array) -> Array:
        """LPS mm, shape (..., 3), to voxel index (x, y, z), shape (..., 3)."""
        inverse = np.linalg.inv(self.affine)
        return np.asarray(np.asarray(points, float) @ inverse[:3, :3].T + inverse[:3, 3])

    def to_patient(self, index: Array) -> Array:
        """Voxel index (x, y, z), shape (..., 3), to LPS mm, shape (..., 3)."""
        return np.asarray(np.asarray(index, float) @ self.affine[:3, :3].T + self.affine[:3, 3])

    def holds(self, point: Array) -> bool:
        """True for an LPS point inside the volume (voxel centres at its faces included)."""
        index = self.to_index(np.asarray(point, float))
        return bool(np.all(index >= -0.5) and np.all(index <= np.array(self.shape[::-1]) - 0.5))

    @property
    def extent(self) -> tuple[Array, Array]:
        """Least and greatest LPS coordinates of the voxel centres, each shape (3,), mm."""
        last = np.array(self.shape[::-1], dtype=float) - 1
        corners = np.array([[last[a] * (b >> a & 1) for a in range(3)] for b in range(8)])
        points = self.to_patient(corners)
        return points.min(0), points.max(0)

    def box(self, low: Array, high: Array) -> tuple[Index, Index, Array]:
        """First and last (exclusive) index (x, y, z) of the voxels that cover an LPS box (mm), and their affine.

        Raises ScanError when the box misses the scan.
        """
        corners = np.array([[(low, high)[b >> a & 1][a] for a in range(3)] for b in range(8)], dtype=float)
        index = self.to_index(corners)
        size = np.array(self.shape[::-1])
        first = np.clip(np.floor(index.min(0)), 0, size).astype(np.int64)
        last = np.clip(np.ceil(index.max(0)) + 1, 0, size).astype(np.int64)
        if np.any(last - first < 1):
            raise refusal(
                self.path or "scan in memory",
                f"the box {in_mm(low)} to {in_mm(high)} lies outside the volume, "
                f"which reaches from {in_mm(self.extent[0])} to {in_mm(self.extent[1])} (LPS mm): give a box inside it",
            )
        affine = self.affine.copy()
        affine[:3, 3] = self.to_patient(first.astype(float))
        return first, last, affine


def affine_from(origin: Array, columns: Array) -> Array:
    """4x4 affine from the LPS place of the first voxel, shape (3,), and the voxel step vectors in columns (3, 3)."""
    affine = np.eye(4)
    affine[:3, :3] = columns
    affine[:3, 3] = origin
    return affine


def doubts(grid: Grid) -> tuple[str, ...]:
    """What is doubtful about a grid's geometry, in words.

    Raises ScanError for a voxel size that is no number, not above 0 or beyond any scan of teeth, and a sheared or
    singular affine.
    """
    spacing = grid.spacing
    where = grid.path or "scan in memory"
    if not np.all(np.isfinite(grid.affine)) or np.any(spacing < 0.0005) or np.any(spacing > 20):
        raise refusal(
            where,
            f"voxel size {in_mm(spacing)} mm, allowed 0.0005 to 20 mm: "
            "the header may be in other units (metres, micrometres); correct it or export again",
        )
    steps = grid.affine[:3, :3] / spacing
    lean = float(np.abs(steps.T @ steps - np.eye(3)).max())
    if lean > 0.02:
        raise refusal(
            where,
            f"the voxel axes are {np.degrees(np.arcsin(min(1.0, lean))):.1f} degrees from "
            "square to each other, allowed 1 degree (a tilted gantry?): resample it to a square grid first",
        )
    found = []
    if spacing.max() > 0.5:
        found.append(f"voxel size {in_mm(spacing)} mm is too coarse for a root canal (0.5 mm at most to trace one)")
    if min(grid.shape) < 8:
        found.append(f"only {min(grid.shape)} voxels along one side: too thin a stack to trace a canal in")
    if spacing.max() / spacing.min() > 2:
        found.append(f"voxels are far from cubes: {in_mm(spacing)} mm")
    return tuple(found)


def in_mm(values: Array) -> str:
    """Three numbers in brackets, short."""
    return "(" + ", ".join(f"{v:.4g}" for v in np.asarray(values, float)) + ")"
