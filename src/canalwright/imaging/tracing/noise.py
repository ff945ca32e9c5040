"""How much of a scan's noise neighbouring voxels share."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


UNLIKE = 1.4
"""Root mean square of a half millimetre over the usual one from which what is left over there is more than noise."""


def quiet(rest: Array, index: NDArray[np.int_], s: Array) -> float:
    """`correlation` in those half millimetres of the stations `s` (n,) that a fit left no more of than usual."""
    slab = np.floor(s / 0.5).astype(int)
    slab -= slab.min()
    count = np.bincount(slab)
    usual = 1.4826 * float(np.median(np.abs(rest)))
    size = np.sqrt(np.bincount(slab, np.clip(rest, -4 * usual, 4 * usual) ** 2) / np.maximum(count, 1))
    good = size[slab] <= UNLIKE * float(np.median(size[count > 0]))
    return correlation(rest[good], index[good])


def correlation(rest: Array, index: NDArray[np.int_]) -> float:
    """How many voxels the noise `rest` (n,) of those at `index` (n, 3) counts for: product over axes of 1 + 2 (c1 + c2),
    c the correlation between voxels one and two apart.
    """
    low, high = index.min(0), index.max(0) + 1
    usual = 1.4826 * float(np.median(np.abs(rest)))
    image = np.full(high - low, np.nan)
    image[tuple((index - low).T)] = np.clip(rest, -4 * usual, 4 * usual)
    total, power = 1.0, float(np.nanmean(image**2))
    for axis in range(3):
        shares = []
        for lag in (1, 2):
            if image.shape[axis] <= lag:
                continue
            pairs = np.take(image, range(lag, image.shape[axis]), axis) * np.take(
                image, range(image.shape[axis] - lag), axis
            )
            shares.append(max(0.0, float(np.nanmean(pairs)) / power) if np.isfinite(pairs).sum() > 50 else 0.0)
        total *= 1 + 2 * sum(shares)
    return total
