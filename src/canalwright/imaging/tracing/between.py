"""A faint canal told from the root's blurred edge: it is darker than what lies on both sides of it.

The edge beside the ligament is dark on one side only, and often darker than a canal of half a voxel. So what counts is by how
much a place is darker than the darker of each two opposite places about it, `BESIDE` mm away, averaged over the pairs.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_TURN = np.linspace(0, 2 * np.pi, 12, endpoint=False)
RING = np.column_stack([np.cos(_TURN), np.sin(_TURN)])
"""Directions about a place (12, 2), the second half opposite to the first."""
BESIDE = 0.5
"""How far to each side what is beside a faint canal is looked at, mm: clear of its own blur at voxels of 0.2 mm, and in a thin root not
yet beyond the ligament."""


def stands_out(dark: Array, beside: Array) -> Array:
    """By how much places of darkness `dark` (...) are darker than both their sides; `beside` (..., 12): the darkness `BESIDE` mm away
    in the directions of `RING`.
    """
    half = len(RING) // 2
    return np.asarray(dark - np.maximum(beside[..., :half], beside[..., half:]).mean(axis=-1))
