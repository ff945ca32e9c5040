"""A scan in memory: voxels with their place in the patient.

Voxel arrays are indexed [z, y, x]. Greys are kept as stored (`voxels`) and scaled on the way out by `slope` and
`intercept`, so that a large volume is never copied whole into floating point. A scan too large for memory is an `Opened`
(room `readers`): its `crop` is a `Scan`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.grid import Grid, affine_from

__all__ = ["Scan", "affine_from"]

Array = NDArray[np.float64]
Greys = NDArray[np.float32]


@dataclass(frozen=True)
class Scan(Grid):
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
    def array(self) -> Greys:
        """All greys, scaled, float32, shape (nz, ny, nx). Copies the volume: use `block` for a large one."""
        return self.block((0, 0, 0), self.shape[::-1])

    def block(self, low: tuple[int, int, int], high: tuple[int, int, int]) -> Greys:
        """Scaled greys of the voxels from index (x, y, z) `low` to `high` (exclusive), [z, y, x], float32."""
        part = self.voxels[low[2] : high[2], low[1] : high[1], low[0] : high[0]]
        grey = np.array(part, dtype=np.float32)
        if (self.slope, self.intercept) != (1.0, 0.0):
            grey *= np.float32(self.slope)
            grey += np.float32(self.intercept)
        return grey

    def crop(self, low: Array, high: Array) -> "Scan":
        """The part of the scan whose voxels cover the LPS box `low` to `high` (mm), as its own small scan.

        Raises ScanError when the box misses the scan.
        """
        first, last, affine = self.box(low, high)
        part = self.voxels[first[2] : last[2], first[1] : last[1], first[0] : last[0]]
        return Scan(
            np.array(part), affine, self.modality, self.warnings, self.details, self.slope, self.intercept, self.path
        )
