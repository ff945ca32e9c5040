"""Voids in a filling, in three dimensions, and the smallest one that these scans would show.

What is lacking in each voxel is lumen less filling. Matched filters for balls of several diameters, blurred as the scan
is, are divided by their own scatter in the filling; above `SEEN` a void is called seen, and its volume is the sum of what is
lacking about it. The same scatter gives the smallest visible void: a ball whose signal is `SEEN` plus 1.28, so that nine of ten such are
seen. Smaller voids are not seen: nothing here says that they are absent. A void that reads hardly larger than that is read too
small (blur and noise hide its rim), so its volume may be that of a ball 1.3 times as wide as the smallest visible one.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter, label, maximum_filter
from scipy.signal import fftconvolve
from scipy.special import ndtr

from canalwright.assessment.result import Void
from canalwright.assessment.scan.line import CanalLine
from canalwright.assessment.scan.shares import Shares
from canalwright.imaging.volume import Scan
from canalwright.quantities import Quantity

Array = NDArray[np.float64]
VOXELS = (1.2, 1.7, 2.4, 3.4, 4.8, 6.8)
SEEN, POWER = 5.0, 1.2816
BLUR = 0.75
"""Blur of the scans and of laying one on the other, standard deviation in voxels (our own estimate)."""
SLOW = 1.2
"""What changes over more than this [mm] is no void."""
TAIL = 2
"""Voxels about what stands out that still belong to a void: what blur carries away."""
WALL = 0.35
"""Shape of a void against a ball, wall and partial voxels: standard deviation of the logarithm of its volume at twice the smallest size."""


def find_voids(
    shares: Shares, crop: Scan, line: CanalLine, end: float, top: float, residual: float
) -> tuple[tuple[Void, ...], tuple[float, ...], Quantity]:
    """Voids between stations `end` and `top`, the chance that each is one, and the smallest visible diameter [mm]."""
    side = float(crop.spacing.max())
    inside = shares.near & (shares.lumen > 0.6) & (shares.z > end + side) & (shares.z < top - side)
    lacking = shares.grid(np.where(shares.near, np.clip(shares.lumen, 0, 1.2) - shares.filling, 0.0))
    core = shares.grid(inside.astype(float)) > 0.5
    if core.sum() < 40:
        return (), (), Quantity(1.0, side, 2.0, "mm")
    lacking = lacking - _level(lacking, core, max(4.0, SLOW / side))
    used = np.where(core, lacking, 0.0)
    best, floor = np.full(lacking.shape, -np.inf), []
    size_at = np.zeros(lacking.shape)
    for d in VOXELS:
        kernel = _ball(d)
        answer = fftconvolve(used, kernel, mode="same")
        reach = fftconvolve(core.astype(float), kernel**2, mode="same") / float((kernel**2).sum())
        fair = core & (reach > 0.4)
        if fair.sum() < 30:
            floor.append(np.nan)
            continue
        answer = answer / np.sqrt(np.maximum(reach, 0.3))
        spread = 1.4826 * float(np.median(np.abs(answer[fair] - np.median(answer[fair])))) + 1e-9
        spread = max(spread, shares.noise * 0.5 * float(np.sqrt((kernel**2).sum())), 1e-9)
        score = np.where(fair, (answer - np.median(answer[fair])) / spread, -np.inf)
        better = score > best
        best[better], size_at[better] = score[better], d
        floor.append(float((kernel**2).sum()) / spread)
    smallest = _smallest(np.array(floor), side, residual)
    voids = _collect(best, lacking, core, crop, line, smallest)
    return voids, tuple(float(ndtr(v.signal - SEEN + 1.0)) for v in voids), smallest


def _collect(
    best: Array, lacking: Array, core: NDArray[np.bool_], crop: Scan, line: CanalLine, smallest: Quantity
) -> tuple[Void, ...]:
    voxel = float(np.prod(crop.spacing))
    smooth = gaussian_filter(lacking, 0.6)
    tops = np.argwhere((best >= SEEN) & (best == maximum_filter(best, 3)))
    order = sorted(((int(a), int(b), int(c)) for a, b, c in tops), key=lambda p: -float(best[p]))
    claimed = np.zeros(best.shape, bool)
    found = []
    for place in order[:200]:
        if claimed[place]:
            continue
        low = [max(p - 12, 0) for p in place]
        box = tuple(slice(a, p + 13) for a, p in zip(low, place, strict=True))
        marked, _ = label((smooth[box] > max(0.22 * smooth[place], 0.03)) & ~claimed[box])
        own = marked[tuple(p - a for p, a in zip(place, low, strict=True))]
        if not own:
            continue
        blob = marked == own
        claimed[box] |= blob
        wide_blob = binary_dilation(blob, iterations=TAIL) & (~claimed[box] | blob)
        volume = float(lacking[box][wide_blob].sum()) * voxel
        if volume <= 0:
            continue
        d = float((6 * volume / np.pi) ** (1 / 3))
        spread = float(np.hypot(WALL * min(2 * smallest.value / max(d, 1e-6), 2.0), 1.0 / float(best[place])))
        low_end, high_end = volume * float(np.exp(-1.645 * spread)), volume * float(np.exp(1.645 * spread))
        if d < 1.3 * smallest.value:
            high_end = max(high_end, np.pi / 6 * (1.3 * smallest.value) ** 3)
        k, j, i = np.argwhere(blob).mean(0) + np.array(low)
        z, away, _ = line.place(crop.to_patient(np.array([[i, j, k]])))
        found.append(
            Void(
                float(z[0]), float(away[0]),
                Quantity(d, d * (low_end / volume) ** (1 / 3), d * (high_end / volume) ** (1 / 3), "mm"),
                Quantity(volume, low_end, high_end, "mm3"), float(best[place]),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda v: v.z))


def _level(lacking: Array, core: NDArray[np.bool_], size: float) -> Array:
    """What is lacking everywhere alike in the filling (a wrong grey of the filling), smooth over `size` voxels, no voids in it."""
    clipped = np.clip(lacking, *np.quantile(lacking[core], (0.2, 0.8)))
    weight = gaussian_filter(core.astype(float), size)
    return np.asarray(gaussian_filter(np.where(core, clipped, 0.0), size) / np.maximum(weight, 1e-3) * (weight > 1e-3))


def _smallest(floor: Array, side: float, residual: float) -> Quantity:
    """Diameter whose signal reaches SEEN + POWER, never less than the scans are out of register."""
    ok = np.isfinite(floor)
    if not ok.any():
        return Quantity(VOXELS[-1] * side, VOXELS[0] * side, 3 * VOXELS[-1] * side, "mm")
    sizes, got = np.array(VOXELS)[ok] * side, np.maximum.accumulate(floor[ok])

    def at(level: float) -> float:
        if got[-1] < level:
            return float(sizes[-1] * (level / got[-1]) ** (2 / 3))
        if got[0] >= level:
            return float(sizes[0] * (level / got[0]) ** 0.4)
        return float(np.interp(np.log(level), np.log(got), sizes))

    value = max(at(SEEN + POWER), 2 * residual)
    return Quantity(value, max(0.8 * value, 1e-6), 1.3 * value, "mm")


def _ball(d: float) -> Array:
    """A ball of `d` voxels, blurred; shares by the first-order partial volume of each voxel."""
    half = int(np.ceil(d / 2 + 3 * BLUR))
    k, j, i = np.mgrid[-half : half + 1, -half : half + 1, -half : half + 1].astype(float)
    full = np.clip(0.5 + d / 2 - np.sqrt(i * i + j * j + k * k), 0, 1)
    full *= np.pi / 6 * d**3 / max(float(full.sum()), 1e-9)
    return np.asarray(gaussian_filter(full, BLUR))
