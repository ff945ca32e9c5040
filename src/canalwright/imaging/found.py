"""What tracing hands over: one canal as it was found in a scan or in surfaces."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen

Array = NDArray[np.float64]

NINETY = 1.6449
"""Half of a 90 % interval of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class Quality:
    """How far to trust a traced canal: `score` 0 (not at all) to 1, and in words what took it down."""

    score: float
    reasons: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.score <= 1:
            raise ValueError(f"quality is 0 to 1, not {self.score}")


@dataclass(frozen=True)
class FoundPortal:
    """A side branch as it was found: `z` where it leaves the canal, its `path` (m, 3) from there to the root's surface.

    `diameter` (of the circle of its mean section) and `length` (lumen to surface) in mm with standard deviations;
    `kind`: lateral canal, isthmus, delta, furcation canal; `side`: the direction in words where it is known.
    """

    z: float
    path: Array
    diameter: float
    diameter_error: float
    length: float
    length_error: float
    kind: str = "lateral canal"
    side: str = ""

    @property
    def direction(self) -> Array:
        """Unit direction from the canal to the exit, shape (3,)."""
        way = self.path[-1] - self.path[0]
        return np.asarray(way / max(float(np.linalg.norm(way)), 1e-12))


@dataclass(frozen=True)
class RootSurface:
    """The root's outer surface about a canal: `distance` from its centreline by station and direction (n, K), with
    standard deviations `error` (n, K), mm.

    Direction k of station i is cos(t) `one[i]` + sin(t) `two[i]`, t = 2 pi k / K; `one`, `two` (n, 3) unit vectors.
    """

    distance: Array
    error: Array
    one: Array
    two: Array

    @property
    def turn(self) -> Array:
        """Angles of the directions, radians, shape (K,)."""
        return np.linspace(0, 2 * np.pi, self.distance.shape[1], endpoint=False)

    def ways(self, i: int) -> Array:
        """Unit directions (K, 3) at station `i`."""
        return np.asarray(np.cos(self.turn)[:, None] * self.one[i] + np.sin(self.turn)[:, None] * self.two[i])


@dataclass(frozen=True)
class FoundCanal:
    """A canal found in a scan or in surfaces; lengths mm, points in scan space (LPS, or the mesh's own).

    `lumen` runs from the terminus (z = 0) to the orifice. `length` is the arc length between the two.
    `foramen` is the least width of the opening at the terminus. `join` is the z at which the canal
    meets another one (`joined` names it), None when it stays alone. `width_error` and `wall_error`
    (n,) are standard deviations by station. `wall_direction` (n, 3): unit direction of the thinnest
    wall, zero where it was not found. `inscribed` (n,): widest circle in the section, which a round
    instrument meets; equal to `minor` for an oval, less in a kidney or ribbon.
    `length_error`: standard deviation of `length` where the tracing knows it (0: it does not).
    `crown` is the unit direction from the roots to the crown. `portals`: its side branches. `corrected_by`: who
    corrected it, in order; empty as it was found. Where a scan's tracing knows them: `surface` of the root, and
    `centre_error` and `area_error` (n,), standard deviations of the centreline (mm) and of the section's area (mm2);
    `together` (n,), the share of the latter that all sections have in common, 0 to 1.
    """

    name: str
    lumen: Lumen
    length: float
    foramen: float
    orifice: Array
    terminus: Array
    width_error: Array
    wall_error: Array
    wall_direction: Array
    inscribed: Array
    crown: Array
    quality: Quality
    length_error: float = 0.0
    join: float | None = None
    joined: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    portals: tuple[FoundPortal, ...] = ()
    corrected_by: tuple[str, ...] = ()
    surface: RootSurface | None = None
    centre_error: Array | None = None
    area_error: Array | None = None
    together: Array | None = None

    def __post_init__(self) -> None:
        n = self.lumen.size
        for key in ("width_error", "wall_error", "inscribed"):
            if getattr(self, key).shape != (n,):
                raise ValueError(f"{key} needs shape ({n},), not {getattr(self, key).shape}")
        if self.wall_direction.shape != (n, 3):
            raise ValueError(f"wall_direction needs shape ({n}, 3), not {self.wall_direction.shape}")

    def half(self, i: int, ways: Array) -> Array:
        """Half width of the oval section at station `i` along directions `ways` (k, 3) across it, shape (k,)."""
        lumen = self.lumen
        ways = np.atleast_2d(ways)
        along = ways @ lumen.axis[i] / np.maximum(np.linalg.norm(ways, axis=1), 1e-12)
        return np.asarray(
            1 / np.hypot(2 * along / lumen.major[i], 2 * np.sqrt(np.clip(1 - along**2, 0, 1)) / lumen.minor[i])
        )

    def walls(self, i: int) -> tuple[Array, Array, Array]:
        """Dentine from lumen to root surface by direction at station `i`: thickness, error (K,), directions (K, 3).

        Empty where the tracing does not know the surface.
        """
        if self.surface is None:
            return np.zeros(0), np.zeros(0), np.zeros((0, 3))
        ways = self.surface.ways(i)
        thick = np.maximum(self.surface.distance[i] - self.half(i, ways), 0.0)
        return thick, np.hypot(self.surface.error[i], self.width_error[i] / 2), ways

    def reach(self, i: int, way: Array) -> float:
        """Distance from the centreline at station `i` to the root's surface along a direction (3,), mm."""
        if self.surface is None:
            return float(self.lumen.major[i] / 2 + self.lumen.wall[i])
        turn = np.arctan2(way @ self.surface.two[i], way @ self.surface.one[i]) % (2 * np.pi)
        return float(np.interp(turn, self.surface.turn, self.surface.distance[i], period=2 * np.pi))

    def named(self, name: str) -> "FoundCanal":
        """The same canal under a name of the user's."""
        return replace(self, name=name)
