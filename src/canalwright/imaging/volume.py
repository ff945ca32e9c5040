"""A scan: voxels with their place in the patient.

Voxel arrays are indexed [z, y, x]; a point in voxel indices is (i, j, k) = (x, y, z) index, 0 at the
centre of the first voxel. The affine takes (i, j, k, 1) to patient LPS millimetres (DICOM PS3.3
C.7.6.2.1.1). Greys are kept as stored (`voxels`) and scaled on the way out by `slope` and `intercept`,
so that a large volume is never copied whole into floating point.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.refusal import refusal

Array = NDArray[np.float64]
Greys = NDArray[np.float32]


@dataclass(frozen=True)
class Scan:
    """One volume: `voxels` shape (nz, ny, nx), `affine` shape (4, 4) from index (x, y, z) to LPS mm.

    `warnings` are doubts that a reader had; `details` holds technical metadata (never the patient's
    identity unless it was asked for); `path` says where it was read.
    """

    voxels: NDArray[np.generic] = field(repr=False)
    affine: Array
    modality: str = ""
    warnings: tuple[str, ...] = ()
    details: Mapping[str, str] = field(default_factory=dict)
    slope: float = 1.0
    intercept: float = 0.0
    path: str = ""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along z, y, x."""
        nz, ny, nx = self.voxels.shape
        return nz, ny, nx

    @property
    def spacing(self) -> Array:
        """Voxel size along x, y, z, shape (3,), mm."""
        return np.asarray(np.linalg.norm(self.affine[:3, :3], axis=0))

    @property
    def array(self) -> Greys:
        """All greys, scaled, float32, shape (nz, ny, nx). Copies the volume: use `block` for a large one."""
        return self.block((0, 0, 0), self.shape[::-1])

    def block(self, low: tuple[int, int, int], high: tuple[int, int, int]) -> Greys:
        """Scaled greys of the voxels from index (x, y, z) `low` to `high` (exclusive), [z, y, x], float32."""
        part = self.voxels[low[2] : high[2], low[1] : high[1], low[0] : high[0]]
        return np.asarray(part, dtype=np.float32) * np.float32(self.slope) + np.float32(self.intercept)

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

    def crop(self, low: Array, high: Array) -> "Scan":
        """The part of the scan whose voxels cover the LPS box `low` to `high` (mm), as its own small scan.

        Raises ScanError when the box misses the scan.
        """
        corners = np.array([[(low, high)[b >> a & 1][a] for a in range(3)] for b in range(8)], dtype=float)
        index = self.to_index(corners)
        size = np.array(self.shape[::-1])
        first = np.clip(np.floor(index.min(0)), 0, size).astype(int)
        last = np.clip(np.ceil(index.max(0)) + 1, 0, size).astype(int)
        if np.any(last - first < 1):
            raise refusal(
                self.path or "scan in memory",
                f"the box {_mm(low)} to {_mm(high)} lies outside the volume, "
                f"which reaches from {_mm(self.extent[0])} to {_mm(self.extent[1])} (LPS mm): give a box inside it",
            )
        affine = self.affine.copy()
        affine[:3, 3] = self.to_patient(first.astype(float))
        part = self.voxels[first[2] : last[2], first[1] : last[1], first[0] : last[0]]
        return Scan(
            np.array(part), affine, self.modality, self.warnings, self.details, self.slope, self.intercept, self.path
        )

    @property
    def extent(self) -> tuple[Array, Array]:
        """Least and greatest LPS coordinates of the voxel centres, each shape (3,), mm."""
        last = np.array(self.shape[::-1], dtype=float) - 1
        corners = np.array([[last[a] * (b >> a & 1) for a in range(3)] for b in range(8)])
        points = self.to_patient(corners)
        return points.min(0), points.max(0)


def affine_from(origin: Array, columns: Array) -> Array:
    """4x4 affine from the LPS place of the first voxel, shape (3,), and the voxel step vectors in columns (3, 3)."""
    affine = np.eye(4)
    affine[:3, :3] = columns
    affine[:3, 3] = origin
    return affine


def checked(scan: Scan) -> Scan:
    """The scan with doubts about its geometry added to its warnings.

    Raises ScanError for a voxel size that is no number, not above 0 or beyond any scan of teeth, a
    sheared or singular affine, and greys that are not finite.
    """
    spacing = scan.spacing
    where = scan.path or "scan in memory"
    if not np.all(np.isfinite(scan.affine)) or np.any(spacing < 0.0005) or np.any(spacing > 20):
        raise refusal(
            where,
            f"voxel size {_mm(spacing)} mm, allowed 0.0005 to 20 mm: "
            "the header may be in other units (metres, micrometres); correct it or export again",
        )
    steps = scan.affine[:3, :3] / spacing
    lean = float(np.abs(steps.T @ steps - np.eye(3)).max())
    if lean > 0.02:
        raise refusal(
            where,
            f"the voxel axes are {np.degrees(np.arcsin(min(1.0, lean))):.1f} degrees from "
            "square to each other, allowed 1 degree (a tilted gantry?): resample it to a square grid first",
        )
    warnings = list(scan.warnings)
    if spacing.max() > 0.5:
        warnings.append(f"voxel size {_mm(spacing)} mm is too coarse for a root canal (0.5 mm at most to trace one)")
    if min(scan.shape) < 8:
        warnings.append(f"only {min(scan.shape)} voxels along one side: too thin a stack to trace a canal in")
    if spacing.max() / spacing.min() > 2:
        warnings.append(f"voxels are far from cubes: {_mm(spacing)} mm")
    return Scan(
        scan.voxels, scan.affine, scan.modality, tuple(warnings), scan.details, scan.slope, scan.intercept, scan.path
    )


def _mm(values: Array) -> str:
    return "(" + ", ".join(f"{v:.4g}" for v in np.asarray(values, float)) + ")"
