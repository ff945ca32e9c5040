"""Invented canals for the tests of fit and shaping."""

import numpy as np

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.anatomy.perturb import departures
from canalwright.anatomy.tooth import Tooth
from canalwright.fit import Passage
from canalwright.instruments import File, Profile
from canalwright.quantities import Reading


def centreline(z: np.ndarray, radius: float, straight: float) -> np.ndarray:
    """Straight for `straight` mm from the orifice, then an arc of `radius` mm down to the terminus; shape (n, 3)."""
    s = z[-1] - z
    turned = np.maximum(s - straight, 0.0) / radius
    x = radius * (1 - np.cos(turned))
    y = np.where(s > straight, straight + radius * np.sin(turned), s)
    return np.column_stack([x, np.zeros_like(x), -y])


def lumen(
    *, top=13.0, tip=0.2, taper_native=0.03, oval=1.0, radius=1e6, straight=8.0, wall=1.2, step=0.1
) -> Lumen:  # fmt: skip
    z = np.arange(round(top / step) + 1) * step
    minor = tip + taper_native * z
    axis = np.tile([0.0, 1.0, 0.0], (len(z), 1))
    centre = centreline(z, radius, straight)
    return Lumen(z, minor, oval * minor, centre, axis, np.full(len(z), wall), np.pi / 4 * oval * minor**2)


def canal(*, size=30, taper=0.04, end=0.5, length=20.0, file_length=16.0, errors=None, **shape) -> Canal:
    native = lumen(**shape)
    file = File(f"{size}/{taper}", Profile.uniform(size / 100, taper, file_length), size)
    return Canal(
        Tooth(46), "distal", native, Reading(length, 0.25, "mm"), end, file, orifice=float(native.z[-1]),
        errors=errors or {},
    )  # fmt: skip


def passage(minor, *, z=None, major=None, centre=None, curve=None, end=0.0, length=20.0) -> Passage:
    """A passage from widths (d, n) or (n,)."""
    minor = np.atleast_2d(np.asarray(minor, dtype=float))
    d, n = minor.shape
    z = np.arange(n) * 0.1 if z is None else z
    major = minor if major is None else np.broadcast_to(np.atleast_2d(major), (d, n))
    centre = np.column_stack([np.zeros(n), np.zeros(n), z]) if centre is None else centre
    curve = np.ones(d) if curve is None else curve
    axis = np.tile([0.0, 1.0, 0.0], (n, 1))
    shape = Lumen(z, minor[0], major[0], centre, axis, z, z)
    return Passage(z, minor, major, minor, centre, departures(shape), axis, curve, end, np.full(d, float(length)))
