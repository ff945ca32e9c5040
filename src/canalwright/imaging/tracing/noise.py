"""How much of a scan's noise neighbouring voxels share."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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
