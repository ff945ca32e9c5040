"""Curvature of the canal and the bending strain of a file in it."""

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.shaping.envelope import envelope

Array = NDArray[np.float64]
WINDOW = 1.0


def curvature(z: Array, centre: Array, window: float = WINDOW) -> Array:
    """Curvature 1/R [1/mm] of a centreline at each station, shape (n,), from points of shape (n, 3).

    That of the circle through the points at z - w, z and z + w, w = `window` mm (Menger 1930, Math Ann 103:466-501):
    exact for an arc; a bend shorter than 2 w counts as gentler, a wobble of the trace of 0.01 mm as 0.02 / mm. Within w
    of either end the nearest full window counts. Raises ValueError when the canal is shorter than two windows.
    """
    if z[-1] - z[0] < 2 * window:
        raise ValueError(f"centreline of {z[-1] - z[0]:.2f} mm is too short for a window of {window:.2f} mm")
    at = np.clip(z, z[0] + window, z[-1] - window)
    ahead, here, behind = (
        np.column_stack([np.interp(at + shift, z, centre[:, k]) for k in range(3)]) for shift in (window, 0.0, -window)
    )
    first, second = here - behind, ahead - here
    sides = np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1) * np.linalg.norm(first + second, axis=1)
    return np.asarray(2 * np.linalg.norm(np.cross(first, second), axis=1) / np.maximum(sides, 1e-12))


def file_strain(canal: Canal, window: float = WINDOW) -> Array:
    """Greatest bending strain of the finishing file at each station, shape (n,): d / (2 R), pure bending.

    0 below the end of the preparation. Leaves out the straightening of the file within a wider
    canal, which lowers the strain. It is a strain, not a life: published fatigue lives differ manyfold
    between set-ups.
    """
    native = canal.native
    return envelope(canal.file, native.z, canal.end) * curvature(native.z, native.centre, window) / 2
