"""Pressure from the plugger's face down the column of gutta-percha.

Along the column dp/dz = 4 tau_w / D (hydraulic diameter D = 4 A / perimeter). The wall can bear
tau_w = min(grip tau_y(T), mu p): sticking at a share of the shear yield, or sliding with Coulomb friction,
whichever is less (the friction law of metal forming; Shaw 1963). Below the melt front tau_y is thirty times
greater, so the pressure dies within a millimetre or two: the front stops it.

Under the plugger p = F / a, unless the material slips past: a plugger of face a in a wider section can press
no harder than p = (2 + pi) tau_y + 2 grip tau_y l / g, punch (Prandtl 1921) and extrusion up the ring of height l
and gap g beside it. A plugger that touches dentine gives a share of its force to the wall (`root`).

Left out: the viscous part while the plugger still moves, elastic spring-back, the weight of the column.
Checked against the closed forms of the two friction laws, 0.1-200 MPa.
"""

import numpy as np
from numpy.typing import NDArray

from canalwright.instruments import Plugger
from canalwright.kernels import compiler

njit = compiler("canalwright.compaction")

Array = NDArray[np.float64]
PUNCH = 2.0 + np.pi
TIGHT = 0.01  # mm, the least gap beside a plugger that still lets material past


@njit
def down_the_column(pressure, top, step, diameter, shear, grip, friction, filled):  # type: ignore[no-untyped-def]
    """Fill `pressure` (n,) below station `top`, where it is set; `shear` is tau_y (n,), `filled` the gutta-percha.

    Stations without gutta-percha pass the pressure on (sealer). The sliding law is integrated exactly
    over a step, the sticking law is linear.
    """
    for i in range(top - 1, -1, -1):
        p = pressure[i + 1]
        if filled[i] > 0.0 and p > 0.0:
            stick = 4.0 * grip * shear[i] / diameter[i] * step
            slide = p * (1.0 - np.exp(-4.0 * friction / diameter[i] * step))
            p = max(p - min(stick, slide), 0.0)
        pressure[i] = p


@njit
def under_the_plugger(force, face, section, sunk, shear, grip):  # type: ignore[no-untyped-def]
    """Pressure under a plugger and whether it slips: (MPa, bool).

    `force` N, `face` and `section` areas [mm2] of plugger and canal, `sunk` how deep it stands in the
    material [mm], `shear` its yield there [MPa], `grip` the share of it that steel and wet wall hold.
    """
    hard = force / face
    gap = np.sqrt(section / np.pi) - np.sqrt(face / np.pi)
    if gap <= TIGHT:
        return hard, False
    most = shear * (PUNCH + 2.0 * grip * max(sunk, 0.0) / gap)
    return min(hard, most), hard > most


def column_pressure(
    z: Array, diameter: Array, shear: Array, top: float, pressure: float, grip: float = 1.0, friction: float = np.inf
) -> Array:
    """Pressure at stations `z` (n,) [mm, evenly spaced] below `top`, MPa; 0 above it."""
    found = np.zeros(len(z))
    at = int(np.searchsorted(z, top + 1e-9) - 1)
    found[at] = pressure
    down_the_column(found, at, float(z[1] - z[0]), diameter, shear, grip, friction, np.ones(len(z)))
    return found


def binding(plugger: Plugger, stop: float, z: Array, minor: Array) -> NDArray[np.bool_]:
    """Stations (n,) at which the plugger with its tip at `stop` is as wide as the canal: where it binds."""
    wide = plugger.profile(z - stop)
    return np.asarray((z >= stop - 1e-9) & (wide >= minor - 1e-9))
