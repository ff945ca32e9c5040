"""The canal that is assessed, in the space of the scan before the filling."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from canalwright.imaging.found import FoundCanal
from canalwright.quantities import Quantity

Array = NDArray[np.float64]


@dataclass(frozen=True)
class BranchLine:
    """A side branch: `path` (m, 3) from the canal to the root's surface, its diameter, and what the plan expects of it."""

    name: str
    z: float
    path: Array
    diameter: float
    planned: Quantity | None = None


@dataclass(frozen=True)
class CanalLine:
    """`z` (n,) stations from the terminus, `centre` (n, 3) LPS mm, `minor`, `major` widths and `wall` (n,), `branches`."""

    z: Array
    centre: Array
    minor: Array
    major: Array
    wall: Array
    branches: tuple[BranchLine, ...] = ()

    @classmethod
    def of(cls, found: FoundCanal) -> Self:
        """The line of a traced canal."""
        lumen = found.lumen
        named = tuple(
            BranchLine(" ".join(filter(None, (p.side, p.kind))), p.z, np.asarray(p.path), p.diameter)
            for p in getattr(found, "portals", ())
        )
        return cls(lumen.z, lumen.centre, lumen.minor, lumen.major, lumen.wall, named)

    def place(self, points: Array) -> tuple[Array, Array, NDArray[np.int_]]:
        """Station, distance from the line and index of the nearest station of points (m, 3); beyond the ends stations go on."""
        away, at = cKDTree(self.centre).query(points)
        tangent = np.gradient(self.centre, self.z, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1)[:, None]
        along = np.einsum("ij,ij->i", points - self.centre[at], tangent[at])
        across = np.sqrt(np.maximum(away**2 - along**2, 0.0))
        return self.z[at] + along, across, at
