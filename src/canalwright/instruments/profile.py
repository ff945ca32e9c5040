"""Diameters along a tapered instrument, measured from its tip."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Profile:
    """A piecewise linear diameter: `at[i]` mm from the tip the instrument is `diameter[i]` mm wide.

    ISO 3630-1 knows uniform, zero, multiple and arc-shaped tapers; all fit. Beyond the last
    point the diameter stays: no taper is extrapolated.
    """

    at: tuple[float, ...]
    diameter: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.at) != len(self.diameter) or len(self.at) < 1:
            raise ValueError("a profile needs as many diameters as places, at least one")
        if self.at[0] != 0 or any(b <= a for a, b in zip(self.at, self.at[1:], strict=False)):
            raise ValueError("places along a profile start at 0 and increase")
        if any(d <= 0 for d in self.diameter):
            raise ValueError("diameters of a profile must be positive")

    @classmethod
    def uniform(cls, tip: float, taper: float, length: float = 16.0) -> "Profile":
        """Tip diameter [mm], taper [mm/mm] over `length` [mm]."""
        if taper == 0:
            return cls((0.0,), (tip,))
        return cls((0.0, length), (tip, tip + taper * length))

    @property
    def tip(self) -> float:
        """Diameter at the tip (D0), mm."""
        return self.diameter[0]

    @property
    def greatest(self) -> float:
        """Greatest diameter, mm."""
        return max(self.diameter)

    @property
    def end(self) -> float:
        """Distance from the tip at which the taper ends, mm."""
        return self.at[-1]

    def __call__(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Diameter [mm] at `distance` [mm] from the tip (any shape); before the tip: 0."""
        x = np.asarray(distance, dtype=float)
        return np.where(x < 0, 0.0, np.interp(x, self.at, self.diameter))

    def cut(self, length: float) -> "Profile":
        """The profile after `length` mm are cut off its tip."""
        if length == 0:
            return self
        kept = [(a - length, d) for a, d in zip(self.at, self.diameter, strict=True) if a > length]
        places = [(0.0, float(self(length))), *kept]
        return Profile(tuple(p[0] for p in places), tuple(p[1] for p in places))
