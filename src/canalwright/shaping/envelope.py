"""The space that a file of given diameters has cut when taken to its length."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.instruments import File

Array = NDArray[np.float64]


def envelope(file: File, z: Array, end: float, offset: ArrayLike = 0.0) -> Array:
    """Diameter [mm] that the file has cut at stations `z`, shape (n,): 0 below `end`.

    `offset` is the error of the file's diameter, a number or shape (d,); the result is (n,) or (d, n).
    """
    # A hair of tolerance, so that the station at `end` belongs to the file whatever the rounding.
    reached = np.asarray(z) >= end - 1e-9
    nominal = file.profile(np.maximum(np.asarray(z) - end, 0.0))
    cut = np.where(reached, nominal + np.asarray(offset, dtype=float)[..., None], 0.0)
    return np.asarray(np.maximum(cut, 0.0))
