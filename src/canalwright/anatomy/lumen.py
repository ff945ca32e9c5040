"""The hollow of a canal, its portals, and what may be odd about them. Lengths mm; stations as `canalwright.anatomy.canal` counts them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.quantities import Reading, Source

Array = NDArray[np.float64]
STEP = 0.1
"""Between two stations along a canal, mm."""


@dataclass(frozen=True)
class Lumen:
    """The hollow of a canal as a shape in space, by station; all arrays have shape (n,) but `centre` (n, 3).

    `minor`, `major`: least and greatest width. `axis`: unit direction of the greatest width, shape
    (n, 3), at right angles to the centreline. `wall`: least dentine from the lumen to the root surface.
    `area`: section area where it was measured, else that of the ellipse.
    """

    z: Array
    minor: Array
    major: Array
    centre: Array
    axis: Array
    wall: Array
    area: Array

    @property
    def size(self) -> int:
        """Number of stations."""
        return len(self.z)

    @property
    def volume(self) -> float:
        """Volume by the trapezoid rule over stations, mm3."""
        return float(np.trapezoid(self.area, self.z))

    @property
    def root_radius(self) -> Array:
        """Radius of the round root whose least wall is that of the lumen, shape (n,), mm."""
        return self.minor / 2 + self.wall

    def at(self, z: float, values: Array) -> float:
        """Linear interpolation of a station array at `z`."""
        return float(np.interp(z, self.z, values))


@dataclass(frozen=True, slots=True)
class Portal:
    """A portal of exit other than the terminus: a side branch at `z`, or an isthmus or delta.

    `direction` in words of the trade ('mesial', 'buccal', ...), `length` from canal to root surface.
    """

    z: float
    diameter: Reading
    kind: str = "lateral canal"
    direction: str = ""
    length: float | None = None
    source: Source | None = None


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something possible but unlikely in what was measured: the key it hangs on, what is odd, what to do."""

    key: str
    message: str
    action: str
