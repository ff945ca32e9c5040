"""Phantoms seen by a scanner, made once for all tests of scans."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging import FoundCanal, Quality, Scan, trace
from canalwright.imaging.phantom.scan import Phantom, Scanner, TrueCanal, make, random_shape, render

Array = NDArray[np.float64]


@cache
def phantom(seed: int) -> Phantom:
    return make(*random_shape(seed))


@cache
def scan_of(seed: int, voxel: float = 0.2, noise: float = 60.0, tilt: tuple[float, float] = (8.0, -5.0)) -> Scan:
    scanner = Scanner(voxel=voxel, blur=0.8 * voxel, noise=noise, oversample=3, tilt=tilt)
    return render(phantom(seed), scanner, seed, margin=1.0)


@cache
def traced(seed: int, voxel: float = 0.2) -> FoundCanal:
    """Traced from an orifice click and a terminus click 0.2 mm short of the end and 0.15 mm beside the axis."""
    true = phantom(seed).truth[0]
    return trace(scan_of(seed, voxel), true.orifice, true.centre[2] + np.array([0.1, -0.1, 0.05]))


def matched(found: FoundCanal, true: TrueCanal) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Stations of the truth 0.5 mm clear of both ends, and the found stations nearest to them."""
    mine = np.nonzero((true.z > 0.5) & (true.z < true.length - 0.5))[0]
    _, theirs = cKDTree(found.lumen.centre).query(true.centre[mine])
    return mine, theirs


def as_found(true: TrueCanal, name: str) -> FoundCanal:
    """A canal as if it had been found without error."""
    n = len(true.z)
    lumen = Lumen(
        true.z, true.minor, true.major, true.centre, true.axis, true.wall, np.pi / 4 * true.minor * true.major
    )
    small = np.full(n, 0.01)
    return FoundCanal(
        name, lumen, true.length, float(true.minor[0]), true.orifice, true.terminus, small, small, np.zeros((n, 3)),
        true.minor, np.array([0.0, 0, 1]), Quality(1.0),
    )  # fmt: skip
