"""The wall by side: dentine from the canal to the root surface towards a side of the tooth, where it was measured so.

Which side faces the furcation follows from tooth and canal: the danger zone lies on the distal side of mesial and mesiobuccal roots
and on the mesial side of distal ones (review: SADJ 2025, 80:02, dentine thicknesses of first molar roots; read in an abstract).
Left out: roots that have turned, a third root, a second furcation.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.centreline import direction
from canalwright.anatomy.lumen import Array, Lumen
from canalwright.anatomy.tooth import Tooth

SIDES = ("mesial", "distal", "buccal", "lingual", "palatal")


@dataclass(frozen=True)
class SideWall:
    """Dentine [mm] towards `side` at levels from the terminus [mm], increasing; between them linear, beyond them as at the last."""

    side: str
    levels: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, z: Array) -> Array:
        """Dentine at stations `z` (n,)."""
        return np.asarray(np.interp(z, self.levels, self.values))

    def covers(self, z: Array) -> NDArray[np.bool_]:
        """Where it was measured, (n,) bool: between the first and the last level."""
        return np.asarray((z >= self.levels[0] - 1e-9) & (z <= self.levels[-1] + 1e-9))


def half_width(native: Lumen, side: str, minor: Array, major: Array) -> Array:
    """From the centre of the canal to its wall towards `side`, for widths (..., n): the polar radius of the ellipse there, mm."""
    towards = np.append(direction(side), 0.0)
    along = native.axis @ towards
    flat = np.linalg.norm(native.axis[:, :2], axis=1)
    cosine = np.clip(np.abs(along) / np.maximum(flat, 1e-9), 0.0, 1.0)
    sine = np.sqrt(1 - cosine**2)
    return np.asarray(minor * major / 2 / np.sqrt((minor * cosine) ** 2 + (major * sine) ** 2))


def least(walls: tuple[SideWall, ...]) -> tuple[tuple[float, float], ...]:
    """Rows of level and least wall of all sides, at every level that any of them names."""
    levels = sorted({level for wall in walls for level in wall.levels})
    z = np.array(levels)
    values = np.min([wall.at(z) for wall in walls], axis=0)
    return tuple((float(a), float(b)) for a, b in zip(levels, values, strict=True))


def furcation_side(tooth: Tooth, canal: str) -> str:
    """The side of a canal that faces the furcation; '' for a tooth or canal without one, or unknown."""
    name = canal.lower()
    if tooth.position >= 6:
        if tooth.upper:
            return (
                "buccal"
                if "palatal" in name
                else ("mesial" if "disto" in name else "distal" if "mesio" in name else "")
            )
        return "distal" if "mesi" in name else ("mesial" if "dist" in name else "")
    if tooth.upper and tooth.position == 4:
        return "palatal" if name == "buccal" else ("buccal" if name in ("palatal", "lingual") else "")
    return ""
