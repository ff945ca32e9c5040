"""A scan as three stacks of pictures along the patient's axes, without resampling.

The voxel axes nearest to left, posterior and superior are put in that order and turned that way; nothing is interpolated, so
a scan that lies tilted is shown tilted, and `tilt` says by how much. An index in this order is (a, b, c): a to the patient's
left, b to the back, c to the crown of the head. Pictures are laid as radiology lays them: the patient's right on the left side
of axial and coronal pictures, the front on the left side of sagittal ones, the head up.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Picture = NDArray[np.uint16]
PLANES = ("axial", "coronal", "sagittal")
TOP = 65535
SAMPLED = 2_000_000
"""Voxels looked at to choose a window."""
SHOWN = (0.02, 0.998)
"""Quantiles of the greys between which the first window lies."""


@dataclass(frozen=True)
class Tones:
    """Least and greatest grey of a scan, and the greys between which it is shown at first."""

    least: float
    most: float
    dark: float
    bright: float


@dataclass(frozen=True)
class Planes:
    """The pictures of one scan; `tones` from `tones_of`."""

    scan: Scan
    tones: Tones

    @cached_property
    def _order(self) -> tuple[tuple[int, int, int], tuple[bool, bool, bool]]:
        """For each of a, b, c: the voxel axis (x, y, z) nearest to it, and whether it runs the other way."""
        steps = self.scan.affine[:3, :3] / self.scan.spacing
        left, free = [], [0, 1, 2]
        for patient in np.argsort(-np.abs(steps).max(axis=1)):
            axis = max(free, key=lambda v: abs(steps[patient, v]))
            free.remove(axis)
            left.append((int(patient), axis))
        axes = [axis for _, axis in sorted(left)]
        flips = [bool(steps[patient, axis] < 0) for patient, axis in enumerate(axes)]
        return (axes[0], axes[1], axes[2]), (flips[0], flips[1], flips[2])

    @cached_property
    def _view(self) -> NDArray[np.generic]:
        """The stored greys as [c, b, a], without a copy."""
        axes, flips = self._order
        turned = self.scan.voxels.transpose(*(2 - axis for axis in axes[::-1]))
        return turned[tuple(slice(None, None, -1 if flip else 1) for flip in flips[::-1])]

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along a, b, c."""
        c, b, a = self._view.shape
        return a, b, c

    @cached_property
    def affine(self) -> Array:
        """4x4, from index (a, b, c, 1) to LPS mm."""
        axes, flips = self._order
        out = np.eye(4)
        out[:3, 3] = self.scan.affine[:3, 3]
        for k, (axis, flip) in enumerate(zip(axes, flips, strict=True)):
            column = self.scan.affine[:3, axis]
            out[:3, k] = -column if flip else column
            if flip:
                out[:3, 3] += column * (self.shape[k] - 1)
        return out

    @property
    def spacing(self) -> Array:
        """Voxel size along a, b, c, shape (3,), mm."""
        return np.asarray(np.linalg.norm(self.affine[:3, :3], axis=0))

    @property
    def tilt(self) -> float:
        """The greatest angle between a picture's axis and the patient's, degrees."""
        along = np.diag(self.affine[:3, :3]) / self.spacing
        return float(np.degrees(np.arccos(np.clip(along, -1, 1))).max())

    def picture(self, plane: str, number: int) -> Picture:
        """One slice as whole numbers, 0 at `tones.least` and 65535 at `tones.most`; rows go down, columns to the right.

        `plane` is 'axial' (number along c), 'coronal' (along b) or 'sagittal' (along a). Raises KeyError for another plane,
        IndexError for a number outside the stack.
        """
        view = self._view
        a, b, c = self.shape
        most = {"axial": c, "coronal": b, "sagittal": a}[plane]
        if not 0 <= number < most:
            raise IndexError(number)
        across = {
            "axial": (number,),
            "coronal": (slice(None, None, -1), number),
            "sagittal": (slice(None, None, -1), ..., number),
        }
        stored = view[across[plane]]
        return to_picture(np.asarray(stored, np.float32) * self.scan.slope + self.scan.intercept, self.tones)


def to_picture(greys: NDArray[np.floating], tones: Tones) -> Picture:
    """Greys as whole numbers between the least (0) and the greatest (65535) of the scan."""
    span = max(tones.most - tones.least, 1e-9)
    share = (np.asarray(greys, np.float32) - np.float32(tones.least)) * np.float32(TOP / span)
    return np.asarray(np.clip(np.rint(share), 0, TOP), dtype="<u2")


def tones_of(scan: Scan) -> Tones:
    """Least and greatest grey, slice by slice so that nothing large is copied, and a first window."""
    least = min(float(np.min(part)) for part in scan.voxels)
    most = max(float(np.max(part)) for part in scan.voxels)
    step = max(1, int(np.ceil((scan.voxels.size / SAMPLED) ** (1 / 3))))
    dark, bright = np.quantile(np.asarray(scan.voxels[::step, ::step, ::step], np.float32), SHOWN)
    least, most, dark, bright = (float(v) * scan.slope + scan.intercept for v in (least, most, dark, bright))
    if scan.slope < 0:
        least, most, dark, bright = most, least, bright, dark
    return Tones(least, most, dark, bright if bright > dark else dark + 1.0)
