"""From greys to shares: how much of each voxel is lumen, and how much filling.

With dentine D, empty lumen V and filling G in grey, a scan is linear in its shares, blurred or not:

    before = D - (D - V) L          lumen       L = (D - before) / (D - V)
    after  = before + (G - V) F     filling     F = (after - before) / (G - V)

so that sums of L and F over a stretch of canal are volumes, without any threshold. D, V and G are medians of voxels that are sure
to hold one material only; dentine beside the canal is taken off station by station, so that what changes slowly (beam hardening,
a halo) does not count. Where that ring still is bright after the filling, the scan blooms: `halo` tells how much.

Left out: greys cut at the scanner's ceiling (then G is a least value and shares are too large: `cut`), and any filling that is
not as dense as the rest of it (sealer, as a rule a little).
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canalwright.assessment.scan.line import CanalLine
from canalwright.assessment.scan.register import Registered
from canalwright.imaging.errors import ScanError

Array = NDArray[np.float64]
REACH = 1.6
"""Voxels past the wall that still count: what blur carries out of the lumen."""


@dataclass(frozen=True)
class Shares:
    """Voxels near the canal, one row each (m,): `z`, `away` from the line, `lumen` and `filling` shares, `index` (m, 3) x, y, z in the
    crop, `near` (m,) of those that count as canal. `noise`: scatter of a voxel's filling share; `halo`: filling share in the ring
    beside the canal before it was taken off; `cut`: share of the filling's voxels at the scan's greatest grey; `voxel` mm3.
    `contrast_error`: standard deviation of G - V as a share of it.
    """

    z: Array = field(repr=False)
    away: Array = field(repr=False)
    lumen: Array = field(repr=False)
    filling: Array = field(repr=False)
    index: NDArray[np.int_] = field(repr=False)
    near: NDArray[np.bool_] = field(repr=False)
    shape: tuple[int, int, int]
    noise: float
    halo: float
    cut: float
    voxel: float
    contrast_error: float

    def within(self, low: float, high: float, side: float) -> Array:
        """Share (m,) of each voxel of the canal that lies between two stations."""
        overlap = np.minimum(self.z + side / 2, high) - np.maximum(self.z - side / 2, low)
        return np.where(self.near, np.clip(overlap / side, 0.0, 1.0), 0.0)

    def grid(self, values: Array, fill: float = 0.0) -> Array:
        """Values (m,) on the crop, [z, y, x]."""
        made = np.full(self.shape, fill)
        made[self.index[:, 2], self.index[:, 1], self.index[:, 0]] = values
        return made


def shares(found: Registered, line: CanalLine) -> Shares:
    """Raises ScanError where lumen and filling cannot be told from dentine."""
    crop, side = found.before, float(found.before.spacing.max())
    nz, ny, nx = crop.shape
    k, j, i = np.meshgrid(np.arange(nz), np.arange(ny), np.arange(nx), indexing="ij")
    index = np.column_stack([i.ravel(), j.ravel(), k.ravel()])
    z, away, at = line.place(crop.to_patient(index.astype(float)))
    half = line.major[at] / 2
    ring_end = np.minimum(
        half + REACH * side + np.maximum(2.0 * side, 0.25), half + np.maximum(line.wall[at] - side, 1.5 * side)
    )
    wanted = (away < half + 4 * side + 0.5) & (z > -1.5) & (z < line.z[-1] + 0.5)
    before, after = crop.array.ravel(), found.grey.ravel()
    wanted &= np.isfinite(after)
    index, z, away, at, half, ring_end = (v[wanted] for v in (index, z, away, at, half, ring_end))
    before, after = before[wanted].astype(float), after[wanted].astype(float)

    short = line.minor[at] / 2
    inner = (away < np.maximum(short - 1.5 * side, 0.35 * short)) & (z > 0.2) & (z < line.z[-1] - 0.2)
    ring = (away > half + 1.2 * side) & (away < ring_end) & (z > 0.8)
    if inner.sum() < 20 or ring.sum() < 50:
        raise ScanError("too few voxels lie in the canal and its wall: the scan is too coarse for this canal")
    dentine = float(np.median(before[ring]))
    empty = float(np.median(before[inner]))
    bright = inner & (after > dentine + 0.5 * (float(np.quantile(after[inner], 0.9)) - dentine))
    full = float(np.median(after[bright])) if bright.sum() > 10 else float(np.quantile(after[inner], 0.9))
    level = 4 * float(np.std(before[ring]) + 1e-9) / np.sqrt(len(before[inner]))
    if dentine - empty < level or full - dentine < level or full - empty < 1.2 * (dentine - empty):
        raise ScanError(
            "empty canal, dentine and filling do not stand apart in grey: is the first scan before, and the second after the filling?"
        )
    near = away < half + REACH * side
    lumen = (dentine - before) / (dentine - empty)
    filling = (after - before) / (full - empty)
    lumen -= _ring_level(lumen, z, ring)
    raw = float(np.median(filling[ring]))
    filling -= _ring_level(filling, z, ring)
    rest = filling[ring]
    noise = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    bright = after[inner & (filling > 0.5)]
    cut = float(np.mean(bright >= 0.999 * after.max())) if len(bright) else 0.0
    sure = after[inner & (filling > 0.7)]
    error = float(np.std(sure) / np.sqrt(max(len(sure) / 20, 1)) / (full - empty)) if len(sure) > 5 else 0.1
    return Shares(
        z, away, lumen, filling, index, near, (nz, ny, nx), noise, raw, cut, float(np.prod(crop.spacing)),
        float(np.hypot(error, np.hypot(abs(raw), 0.05 * cut))),
    )  # fmt: skip


def _ring_level(values: Array, z: Array, ring: NDArray[np.bool_]) -> Array:
    """The ring's median by station (1 mm stretches, linear between), at every voxel."""
    low, high = float(z[ring].min()), float(z[ring].max())
    middles = np.arange(low + 0.5, max(high, low + 0.6), 1.0)
    levels = np.array([
        np.median(values[ring & (np.abs(z - m) < 0.7)]) if (ring & (np.abs(z - m) < 0.7)).sum() > 10 else np.nan
        for m in middles
    ])  # fmt: skip
    ok = np.isfinite(levels)
    return np.interp(z, middles[ok], levels[ok]) if ok.any() else np.zeros_like(values)
