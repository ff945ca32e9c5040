"""Labels of a filling read from two scans, on the voxels of the scan before it.

Whole voxels only, each with one label; where a voxel is partly filled the larger part counts. Volumes come from the shares, not from
these labels, and a void smaller than a voxel has none.
"""

import numpy as np

from canalwright.assessment.scan.shares import Shares
from canalwright.imaging.volume import Scan

NAMES = ("canal", "filling", "void", "unfilled")
"""Labels 1 to 4: lumen above the filling, filling (also past the terminus), empty within its stretch, lumen below its end."""


def fill_labels(part: Shares, crop: Scan, end: float, top: float) -> Scan:
    """Labels on the grid of `crop`, the part of the earlier scan about the canal; `end` and `top` stations of the filling."""
    hollow = part.near & (part.lumen > 0.5) & (part.z > 0)
    full = (part.near | (part.z < 0)) & (part.filling > np.maximum(0.5 * np.minimum(part.lumen, 1.0), 5 * part.noise))
    full &= hollow | (part.filling > 0.5)
    free = hollow & ~full
    told = np.select([full, free & (part.z > top), free & (part.z < end), free], [2, 1, 4, 3], 0)
    return Scan(part.grid(told).astype(np.uint8), crop.affine, "SEG", path=crop.path)
