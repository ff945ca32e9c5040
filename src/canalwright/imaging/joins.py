"""Where canals meet: two lumens count as one where their ovals touch."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging.found import FoundCanal

Array = NDArray[np.float64]


def joined(canals: Sequence[FoundCanal]) -> list[FoundCanal]:
    """The canals with `join` and `joined` where one shares its terminus or its orifice with an earlier one of the list.

    The join is where the two part: the top of the shared part that ends at the terminus, else the bottom of the one
    that ends at the orifice.
    """
    out: list[FoundCanal] = []
    for canal in canals:
        canal = replace(canal, join=None, joined="")
        for other in out:
            met = touching(canal.lumen, other.lumen)
            if met.all() or not (met[0] or met[-1]):
                continue
            apart = np.nonzero(~met)[0]
            level = canal.lumen.z[apart[0]] if met[0] else canal.lumen.z[apart[-1] + 1]
            canal = replace(canal, join=float(level), joined=other.name)
            break
        out.append(canal)
    return out


def touching(one: Lumen, other: Lumen) -> NDArray[np.bool_]:
    """Whether the lumen `one` touches `other` at each of its stations, shape (n,)."""
    away, at = cKDTree(other.centre).query(one.centre)
    way = other.centre[at] - one.centre
    way /= np.maximum(away, 1e-9)[:, None]
    here = np.arange(one.size)
    return np.asarray(away < _half(one, here, way) + _half(other, at, way))


def _half(lumen: Lumen, at: NDArray[np.int_], way: Array) -> Array:
    """Half width of the oval sections `at` along unit directions `way` (k, 3)."""
    along = np.einsum("ij,ij->i", lumen.axis[at], way)
    return np.asarray(np.sqrt((lumen.major[at] * along) ** 2 + lumen.minor[at] ** 2 * np.maximum(1 - along**2, 0)) / 2)
