"""The way through the lumen: from two points to a first centreline, by fast marching.

Speed falls from 1 in the lumen to `FLOOR` in dentine, so the earliest arrival keeps to the dark canal even
where partial volume leaves a tenth of its contrast (fast marching: Sethian 1996, PNAS 93:1591). The domain ends
`BEYOND` mm past both points along their line: a canal does not turn back over its orifice, and the way round the
outside of the tooth is shut.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import SimpleITK
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, minimum_filter

from canalwright.imaging.block import Block
from canalwright.imaging.centreline import Centreline, smooth
from canalwright.imaging.refusal import refusal

Array = NDArray[np.float64]
sitk: Any = SimpleITK
FLOOR = 0.02
BEYOND = 1.5
RADIUS = 5.0


@dataclass(frozen=True)
class Tones:
    """Greys of dentine and lumen about the canal, and the noise (standard deviation of one voxel)."""

    dentine: float
    lumen: float
    noise: float

    @property
    def contrast(self) -> float:
        """Dentine less lumen."""
        return self.dentine - self.lumen


def find_path(block: Block, orifice: Array, terminus: Array) -> tuple[Array, Tones]:
    """Points (m, 3) LPS from terminus to orifice through the darkest way, and the greys found.

    Raises ScanError when there is no dentine about the points or no dark way between them.
    """
    index, tall = _domain(block, orifice, terminus)
    tones = _tones(block, orifice, terminus)
    softened = gaussian_filter(block.grey, 0.6, mode="nearest")
    dark = np.clip((tones.dentine - softened) / tones.contrast, 0.0, 1.0)
    speed = np.where(index, np.maximum(dark**1.5, FLOOR), 1e-4).astype(np.float32)
    image = sitk.GetImageFromArray(speed)
    image.SetSpacing([float(v) for v in block.spacing])
    start = _nearest(block, _darkest(block, softened, orifice))
    stop = _nearest(block, _darkest(block, softened, terminus))
    arrival = sitk.GetArrayFromImage(sitk.FastMarching(image, [start], 1.0, 1e6))
    way = _descend(arrival, stop, start)
    points = block.to_patient(way.astype(float))
    if np.linalg.norm(points[0] - points[-1]) < 0.5 * tall:
        raise refusal("scan", "no way through the lumen between the two points", remedy="pick them again in the canal")
    return points, tones


def first_line(points: Array, orifice: Array, terminus: Array, voxel: float, beyond: float) -> tuple[Centreline, float]:
    """Smooth centreline from `beyond` mm past the terminus to the orifice, and the terminus' place on it, mm."""
    inner = points[2:-2] if len(points) > 12 else points
    ends = np.vstack([terminus, inner, orifice])
    rough = smooth(ends, wavelength=max(3.0, 12 * voxel))
    tail = rough.points[0] - np.arange(beyond, 0.0, -0.1)[:, None] * rough.tangent[0]
    line = smooth(np.vstack([tail, rough.points]), wavelength=1.0)
    at = float(line.s[int(np.argmin(np.linalg.norm(line.points - terminus, axis=1)))])
    return line, at


def _domain(block: Block, orifice: Array, terminus: Array) -> tuple[NDArray[np.bool_], float]:
    way = orifice - terminus
    tall = float(np.linalg.norm(way))
    way = way / tall
    nz, ny, nx = block.grey.shape
    k, j, i = np.ogrid[0:nz, 0:ny, 0:nx]
    step, start = block.affine[:3, :3], block.affine[:3, 3] - terminus
    along = (start @ way) + (step[:, 0] @ way) * i + (step[:, 1] @ way) * j + (step[:, 2] @ way) * k
    square = sum((start[c] + step[c, 0] * i + step[c, 1] * j + step[c, 2] * k) ** 2 for c in range(3))
    aside = square - along**2
    return np.asarray((along > -BEYOND) & (along < tall + BEYOND) & (aside < RADIUS**2)), tall


def _tones(block: Block, orifice: Array, terminus: Array) -> Tones:
    """Dentine: the upper fifth about the line of the points. Lumen: the darkest tenth near the orifice."""
    t = np.linspace(0.05, 0.95, 60)[:, None]
    line = terminus + t * (orifice - terminus)
    rng = np.random.default_rng(0)
    cloud = (line[:, None] + rng.uniform(-2.0, 2.0, (60, 200, 3))).reshape(-1, 3)
    values = block.sample(cloud[block.inside(cloud)])
    dentine = float(np.quantile(values, 0.8))
    away = rng.uniform(-0.5, 0.5, (400, 3))
    near = np.concatenate([block.sample(orifice + away), block.sample(orifice + t[-20:] * 0 + (line[-20:] - orifice))])
    lumen = float(np.quantile(near, 0.1))
    noise = _noise(block, cloud, dentine)
    if dentine - lumen < 3 * noise:
        raise refusal(
            "scan",
            f"no dark lumen in brighter dentine about the points (greys {lumen:.0f}, {dentine:.0f}, noise {noise:.0f})",
            remedy="pick the points inside the canal, in a scan of a tooth",
        )
    return Tones(dentine, lumen, noise)


def _noise(block: Block, cloud: Array, dentine: float) -> float:
    """Noise of a voxel from third differences (Immerkaer 1996, in one dimension) where it is bright."""
    nz, ny, nx = block.grey.shape
    index = np.unique(np.round(block.to_index(cloud)).astype(int), axis=0)
    i, j, k = index[np.all((index >= 2) & (index < np.array([nx, ny, nz]) - 2), axis=1)].T
    g = block.grey
    third = g[k, j, i - 1] * 3.0 - g[k, j, i] * 3.0 + g[k, j, i + 1] - g[k, j, i - 2]
    bright = np.abs(g[k, j, i] - dentine) < 0.5 * np.abs(dentine - np.quantile(g[k, j, i], 0.02))
    values = third[bright] if bright.sum() > 50 else third
    return float(1.4826 * np.median(np.abs(values - np.median(values))) / np.sqrt(20.0))


def _darkest(block: Block, softened: NDArray[np.float32], point: Array) -> Array:
    """The darkest voxel within a voxel and a half of a point: a click is rarely on the axis."""
    low = minimum_filter(softened, size=3, mode="nearest")
    i, j, k = _nearest(block, point)
    nz, ny, nx = softened.shape
    part = softened[max(k - 1, 0) : k + 2, max(j - 1, 0) : j + 2, max(i - 1, 0) : i + 2]
    at = np.argwhere(part == low[k, j, i])[0] if part.size else np.zeros(3, int)
    found = np.array([max(i - 1, 0) + at[2], max(j - 1, 0) + at[1], max(k - 1, 0) + at[0]])
    return block.to_patient(np.clip(found, 0, np.array([nx, ny, nz]) - 1).astype(float))


def _nearest(block: Block, point: Array) -> tuple[int, int, int]:
    index = np.round(block.to_index(point)).astype(int)
    i, j, k = np.clip(index, 0, np.array(block.grey.shape[::-1]) - 1)
    return int(i), int(j), int(k)


def _descend(arrival: NDArray[np.float32], start: tuple[int, int, int], stop: tuple[int, int, int]) -> NDArray[np.int_]:
    """Steepest descent over the 26 neighbours from `start` to `stop` (x, y, z): arrival times have no other minimum."""
    at = np.array(start)
    way = [at]
    top = np.array(arrival.shape[::-1]) - 1
    shifts = np.array([(a, b, c) for a in (-1, 0, 1) for b in (-1, 0, 1) for c in (-1, 0, 1) if (a, b, c) != (0, 0, 0)])
    size = np.linalg.norm(shifts, axis=1)
    for _ in range(20 * int(max(top))):
        if tuple(at) == stop:
            break
        around = at + shifts
        good = np.all((around >= 0) & (around <= top), axis=1)
        here = arrival[at[2], at[1], at[0]]
        fall = np.full(len(shifts), -np.inf)
        p = around[good]
        fall[good] = (here - arrival[p[:, 2], p[:, 1], p[:, 0]]) / size[good]
        best = int(np.argmax(fall))
        if fall[best] <= 0:
            break
        at = around[best]
        way.append(at)
    return np.array(way)
