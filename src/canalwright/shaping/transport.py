"""Transportation: how far a file that wants to be straight moves the canal aside.

Model (ours). A file bent to curvature 1 / R carries the moment E I / R, I = pi d^4 / 64, and leans on the wall over the
length l of the curve with a force F = E I / (R l). The wall gives way by t = T F / (F + H): nothing for a limp
file, never more than T = 0.40 mm. H = 15.5 N is set so that a superelastic 25/0.06 in a curve of 8 mm over 5 mm moves it by
0.09 mm: T, and the geometric middle of the published 0.02 to 0.40 mm (Peters et al. 2003, Int Endod J 36:86-92). Spread: those ends, so a
factor of 4.5 either way. It moves outwards near the end and towards the inner side (the furcation, in a molar) above.

The order that it gives (stiffer file, sharper curve: more) is published; the amounts are a scale, not a measurement. Left
out: time, pressure of the hand, pilot tips, ledges.
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import STEP
from canalwright.instruments import File
from canalwright.quantities import Origin, Quantity, Source
from canalwright.shaping.envelope import envelope
from canalwright.shaping.strain import WINDOW, curvature

Array = NDArray[np.float64]
MODULUS: dict[str, float] = {"superelastic": 40e3, "heat-treated": 20e3, "steel": 190e3}
"""Modulus in bending, MPa (from memory; that of the alloys at a few per cent of strain)."""
MOST, HALF = 0.40, 15.5
FACTOR = 4.5
BENT = 0.02
"""Curvature [1/mm] from which a canal counts as curved."""


def side_force(diameter: float, radius: float, length: float, alloy: str = "superelastic") -> float:
    """Force [N] with which a file of `diameter` leans on the wall of a curve of `radius` over `length` mm: E I / (R l)."""
    if alloy not in MODULUS:
        raise ValueError(f"no stiffness for a {alloy!r} file; there are {', '.join(MODULUS)}")
    if min(diameter, radius, length) <= 0:
        raise ValueError("diameter, radius and length must be more than 0 mm")
    return float(MODULUS[alloy] * np.pi * diameter**4 / 64 / (radius * length))


def transport(force: float) -> Quantity:
    """Shift of the canal's axis [mm] under a side force [N], with its 5-95 % interval."""
    if force < 0 or not np.isfinite(force):
        raise ValueError(f"force must be 0 or more, not {force}")
    value = MOST * force / (force + HALF)
    source = Source(Origin.AVERAGE, "scale set by published transportation, 0.02 to 0.40 mm")
    return Quantity(value, value / FACTOR, min(value * FACTOR, MOST), "mm", source, 1.0, "stiffness scale")


def transportation(canal: Canal, file: File | None = None) -> Quantity:
    """Transportation by a file (the finishing file without one) taken to the end of the preparation."""
    file = file or canal.file
    native = canal.native
    bend = curvature(native.z, native.centre, WINDOW)
    bent = (bend >= BENT) & (native.z >= canal.end)
    if not bent.any():
        return transport(0.0)
    wide = envelope(file, native.z, canal.end)
    at = int(np.argmax(np.where(bent, wide**4 * bend, 0.0)))  # where the bending moment is greatest
    length = max(float(bent.sum()) * STEP, 1.0)
    return transport(side_force(float(wide[at]), 1 / float(bend[at]), length, file.alloy))
