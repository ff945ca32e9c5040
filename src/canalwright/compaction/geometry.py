"""The lumen and the portals as the kernels take them: arrays with a leading axis of draws (1 or all)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen, Portal
from canalwright.instruments import Cone
from canalwright.protocol import Place

Array = NDArray[np.float64]
SLOTS = ("isthmus", "fin")
LEAST_WIDTH = 0.02  # mm
LAND = 0.1  # mm, length of the foramen itself
BEYOND = 2.0  # mm past the terminus within which gutta-percha is followed


@dataclass(frozen=True)
class Sections:
    """Stations z (n,), and by draw and station (g, n): least and greatest width, area, wall, hydraulic diameter."""

    z: Array
    minor: Array
    major: Array
    area: Array
    wall: Array
    perimeter: Array
    hydraulic: Array

    @property
    def step(self) -> float:
        """Distance between stations, mm."""
        return float(self.z[1] - self.z[0])

    @property
    def equivalent(self) -> Array:
        """Diameter of the circle of equal area, shape (g, n), mm."""
        return np.asarray(2 * np.sqrt(self.area / np.pi))


@dataclass(frozen=True)
class Mouths:
    """Portals with the terminus in the first place: station index, length, slot or tube, shape (k,); width (d, k).

    `path` is the length that sealer must come through: at the terminus only the foramen, as the canal below the
    cone is full of it. `most` is how far gutta-percha is followed; `apical` what of that lies inside the canal;
    `cone_tip` the width that is drawn into the foramen.
    """

    station: NDArray[np.int64]
    z: Array
    length: Array
    path: Array
    most: Array
    slot: NDArray[np.bool_]
    width: Array
    apical: float
    cone_tip: float


def sections(lumens: Sequence[Lumen]) -> Sections:
    """Stack lumens that share their stations; raises ValueError when they do not, or are not evenly spaced."""
    z = lumens[0].z
    if len(z) < 3 or not np.allclose(np.diff(z), z[1] - z[0], atol=1e-6):
        raise ValueError("compaction needs a lumen with evenly spaced stations, three at least")
    if any(len(lumen.z) != len(z) or not np.allclose(lumen.z, z) for lumen in lumens):
        raise ValueError("the lumens of the draws have different stations")
    minor = np.maximum(np.stack([lumen.minor for lumen in lumens]), LEAST_WIDTH)
    major = np.maximum(np.stack([lumen.major for lumen in lumens]), minor)
    area = np.maximum(np.stack([lumen.area for lumen in lumens]), np.pi / 4 * LEAST_WIDTH**2)
    wall = np.maximum(np.stack([lumen.wall for lumen in lumens]), 0.05)
    a, b = major / 2, minor / 2
    h = ((a - b) / (a + b)) ** 2
    perimeter = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))  # Ramanujan 1914
    return Sections(z, minor, major, area, wall, perimeter, 4 * area / perimeter)


def mouths(portals: Sequence[Portal], widths: Array, cut: Sections, seat: Place, foramen: float | None) -> Mouths:
    """The terminus (cone tip to z = 0) and the portals; a portal without a length gets the wall at its station.

    Raises ValueError for a portal outside the lumen.
    """
    z, tip = cut.z, seat.tip
    for portal in portals:
        if not z[0] - 1e-9 <= portal.z <= z[-1] + 1e-9:
            raise ValueError(f"{portal.kind} at {portal.z} mm lies outside the lumen, {z[0]:.1f} to {z[-1]:.1f} mm")
    draws = len(widths)
    narrow = np.broadcast_to(cut.minor[:, 0], draws) if foramen is None else np.full(draws, foramen)
    levels = [max(tip, z[0]), *(portal.z for portal in portals)]
    station = np.array([int(np.argmin(np.abs(z - level))) for level in levels])
    walls = cut.wall[0, station]
    apical = float(z[station[0]] - z[0])
    own = [p.length if p.length is not None else w for p, w in zip(portals, walls[1:], strict=True)]
    length = np.array([max(apical, LAND), *own])
    path, most = length.copy(), length.copy()
    path[0] = LAND
    most[0] += BEYOND
    slot = np.array([False, *(any(word in portal.kind for word in SLOTS) for portal in portals)])
    return Mouths(
        station,
        np.array(levels),
        length,
        path,
        most,
        slot,
        np.column_stack([narrow, widths]),
        apical,
        seat.cone.profile.tip,
    )


def cone_area(cone: Cone, tip: float, cut: Sections) -> Array:
    """Section of the seated cone by station, no wider than the lumen, shape (g, n), mm2."""
    round_area = np.pi / 4 * cone.profile(cut.z - tip) ** 2
    squeezed = np.minimum(cone.profile(cut.z - tip), cut.minor)
    fits = np.pi / 4 * cone.profile(cut.z - tip) * squeezed
    return np.asarray(np.minimum(np.where(squeezed > 0, fits, round_area), cut.area))
