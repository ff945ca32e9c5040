"""What is left of the wall, and what of it the file never touched."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.sides import SideWall, half_width
from canalwright.shaping.envelope import envelope
from canalwright.shaping.section import untouched_share

Array = NDArray[np.float64]
THIN = 0.5
"""Remaining dentine [mm] below which a wall counts as thin (common practice, no source)."""


def remaining_dentine(canal: Canal) -> Array:
    """Least dentine [mm] left at each station, shape (n,); below 0 the file has cut through.

    The file stays on the centreline, so it takes (file - minor width) / 2 on the side across the
    minor width; the thinnest wall is supposed to lie on that side, the safe assumption. Leaves out
    transportation, which thins one side more: published means are 0.02 to 0.40 mm.
    """
    return thinned(canal.native.wall, canal.native.minor, _cut(canal))


def thinned(wall: Array, minor: Array, cut: Array) -> Array:
    """Wall less what a file of diameter `cut` takes from a lumen of width `minor`; any shapes that broadcast."""
    return np.asarray(wall - np.maximum(cut - minor, 0.0) / 2)


def side_left(canal: Canal, wall: SideWall, minor: Array, major: Array, cut: Array, moved: ArrayLike = 0.0) -> Array:
    """Dentine left towards the side of `wall` at each station, for widths and envelopes (..., n) and shifts `moved` (..., 1).

    The wall there less what the file's circle takes beyond the canal's own outline in that direction, less the shift of the canal
    towards it.
    """
    beyond = np.maximum(cut / 2 - half_width(canal.native, wall.side, minor, major), 0.0)
    return np.asarray(wall.at(canal.native.z) - beyond - np.asarray(moved))


def untouched(canal: Canal) -> Array:
    """Share (0 to 1) of the native perimeter at each station that the file does not reach, shape (n,)."""
    return untouched_share(canal.native.minor, canal.native.major, _cut(canal))


def untouched_total(canal: Canal) -> float:
    """Share of the native wall's area, from the end of the preparation to the orifice, that stays untouched."""
    native = canal.native
    inside = (native.z >= canal.end - 1e-9) & (native.z <= (canal.orifice or native.z[-1]) + 1e-9)
    # Ramanujan's perimeter (1914) is exact to 1e-5 at these ovalities: a weight needs no more.
    h = ((native.major - native.minor) / (native.major + native.minor)) ** 2
    perimeter = (native.minor + native.major) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    weight = np.where(inside, perimeter, 0.0)
    return float(np.sum(untouched(canal) * weight) / np.sum(weight))


def _cut(canal: Canal) -> Array:
    return envelope(canal.file, canal.native.z, canal.end)
