"""What tracing hands over: one canal as it was found in a scan or in surfaces."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Lumen

Array = NDArray[np.float64]


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
    corrected it, in order; empty as it was found.
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

    def __post_init__(self) -> None:
        n = self.lumen.size
        for key in ("width_error", "wall_error", "inscribed"):
            if getattr(self, key).shape != (n,):
                raise ValueError(f"{key} needs shape ({n},), not {getattr(self, key).shape}")
        if self.wall_direction.shape != (n, 3):
            raise ValueError(f"wall_direction needs shape ({n}, 3), not {self.wall_direction.shape}")

    def named(self, name: str) -> "FoundCanal":
        """The same canal under a name of the user's."""
        return replace(self, name=name)
