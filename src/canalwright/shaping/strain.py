"""Curvature of the canal and the bending strain of a file in it."""

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.shaping.envelope import envelope

Array = NDArray[np.float64]
WINDOW = 1.0


def curvature(z: Array, centre: Array, window: float = WINDOW) -> Array:
    """Curvature 1/R [1/mm] of a centreline at each station, shape (n,), from points of shape (n, 3).

    |p(z + w) - 2 p(z) + p(z - w)| / w^2: the exact second derivative of the centreline smoothed by a
    triangle of half width w = `window` mm. An arc of radius R gives 1/R (1 - w^2 / 12 R^2). Within w
    of either end the nearest full window counts. Raises ValueError when the canal is shorter than two windows.
    """
    if z[-1] - z[0] < 2 * window:
        raise ValueError(f"centreline of {z[-1] - z[0]:.2f} mm is too short for a window of {window:.2f} mm")
    at = np.clip(z, z[0] + window, z[-1] - window)
    ahead, here, behind = (
        np.column_stack([np.interp(at + shift, z, centre[:, k]) for k in range(3)]) for shift in (window, 0.0, -window)
    )
    return np.asarray(np.linalg.norm(ahead - 2 * here + behind, axis=1) / window**2)


def file_strain(canal: Canal, window: float = WINDOW) -> Array:
    """Greatest bending strain of the finishing file at each station, shape (n,): d / (2 R), pure bending.

    0 below the end of the preparation. Leaves out the straightening of the file within a wider
    canal, which lowers the strain. It is a strain, not a life: published fatigue lives differ manyfold
    between set-ups.
    """
    native = canal.native
    return envelope(canal.file, native.z, canal.end) * curvature(native.z, native.centre, window) / 2
