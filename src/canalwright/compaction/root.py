"""Is the root safe: stress in dentine under the press and from a binding plugger.

Thick-walled cylinder under inner pressure (Lame & Clapeyron 1833), bore a, outer radius b = a + least wall:
hoop stress at the bore = p (b^2 + a^2) / (b^2 - a^2). An oval bore raises it by 2 major/minor - 1
(Inglis 1913, elliptical hole under inner pressure in a wide plate: an upper bound for a root).
The pressure under a plugger acts on a short length; dentine above and below shares the load, so the mean over the
outer radius to either side counts (Saint-Venant).
A plugger that binds over a length l of taper half-angle th with friction mu presses the wall with
p = F / (pi d l (tan th + mu)).

Left out: bending of the root, support by bone, thermal strain (much of the strain seen while filling is
thermal, Saw & Messer 1995), cracks that are there already. So nearness is a warning, distance no promise.
Checked: Lame to four digits; a thin wall tends to p a / t, a thick one to p.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.compaction.geometry import Sections
from canalwright.instruments import Plugger

Array = NDArray[np.float64]
FRICTION_STEEL = 0.2
LEAST_CONTACT = 0.5  # mm


def hoop_factor(bore: ArrayLike, wall: ArrayLike) -> Array:
    """Hoop stress at the bore over the pressure in it; `bore` radius and least `wall` [mm], any shape."""
    a = np.asarray(bore, dtype=float)
    b = a + np.maximum(np.asarray(wall, dtype=float), 1e-3)
    return np.asarray((b**2 + a**2) / (b**2 - a**2))


def oval_factor(minor: ArrayLike, major: ArrayLike) -> Array:
    """By how much an oval bore raises the greatest hoop stress: 2 major/minor - 1."""
    return np.asarray(2.0 * np.asarray(major, dtype=float) / np.asarray(minor, dtype=float) - 1.0)


def wall_stress(pressure: ArrayLike, minor: ArrayLike, major: ArrayLike, wall: ArrayLike) -> Array:
    """Greatest hoop stress in the wall under `pressure` [MPa], MPa; shapes broadcast."""
    factor = hoop_factor(np.asarray(minor, dtype=float) / 2, wall) * oval_factor(minor, major)
    return np.asarray(np.asarray(pressure, dtype=float) * factor)


def wedge_pressure(
    force: ArrayLike, diameter: ArrayLike, contact: ArrayLike, taper: ArrayLike, friction: float = FRICTION_STEEL
) -> Array:
    """Pressure of a binding plugger on the wall, MPa; `taper` is its change of diameter per length."""
    length = np.maximum(np.asarray(contact, dtype=float), LEAST_CONTACT)
    slope = np.asarray(taper, dtype=float) / 2 + friction
    return np.asarray(np.asarray(force, dtype=float) / (np.pi * np.asarray(diameter, dtype=float) * length * slope))


def fracture_force(
    strength: ArrayLike, bore: ArrayLike, wall: ArrayLike, contact: ArrayLike, taper: ArrayLike
) -> Array:
    """Force on a binding plugger at which the hoop stress reaches `strength` [MPa], N."""
    per_newton = wedge_pressure(1.0, 2 * np.asarray(bore, dtype=float), contact, taper) * hoop_factor(bore, wall)
    return np.asarray(np.asarray(strength, dtype=float) / per_newton)


def stress_under_press(
    cut: Sections, plugger: Plugger, pressure: Array, binds: NDArray[np.bool_], wedging: Array
) -> Array:
    """Greatest hoop stress by draw and station (d, n), MPa, under `pressure` (d, n) and the wedge where `binds` (n,).

    `wedging` (d,) is the force [N] that a binding plugger gives to the wall. The pressure is the mean over the outer radius to
    either side.
    """
    found = wall_stress(_shared(pressure, cut), cut.minor, cut.major, cut.wall)
    if not binds.any():
        return found
    end = max(plugger.profile.end, 1.0)
    taper = float((plugger.profile(end) - plugger.profile(0.0)) / end)
    wedge = wedge_pressure(wedging, cut.minor[0][binds].mean(), float(binds.sum()) * cut.step, taper)
    return np.asarray(found + np.where(binds, wall_stress(wedge[:, None], cut.minor, cut.major, cut.wall), 0.0))


def _shared(pressure: Array, cut: Sections) -> Array:
    """Mean pressure over the root's outer radius to either side of each station, (d, n)."""
    n = len(cut.z)
    half = np.round((cut.minor[0] / 2 + cut.wall[0]) / cut.step).astype(np.int64)
    total = np.concatenate([np.zeros((len(pressure), 1)), np.cumsum(pressure, 1)], 1)
    high, low = np.minimum(np.arange(n) + half + 1, n), np.maximum(np.arange(n) - half, 0)
    return np.asarray((total[:, high] - total[:, low]) / (2 * half + 1))
