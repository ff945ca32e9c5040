"""How finely the heat model resolves space and time."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Resolution:
    """Grid and tolerance.

    `radial` mm: cell width in the canal, growing outwards by the factor `growth` per cell; `axial` mm: height of the
    rows along the canal; `tolerance` K: root mean square over the cells of the error that one time step may add; `outside` mm of bone
    round the root and below the apex. Raises ValueError for sizes that are not positive, or a growth below 1.
    """

    radial: float = 0.1
    axial: float = 0.125
    growth: float = 1.35
    tolerance: float = 0.3
    outside: float = 4.0

    def __post_init__(self) -> None:
        for name in ("radial", "axial", "tolerance", "outside"):
            if not 0 < getattr(self, name) < float("inf"):
                raise ValueError(f"{name} of the heat grid must be a positive number, not {getattr(self, name)}")
        if not 1 <= self.growth <= 2:
            raise ValueError(f"growth of the heat grid must be from 1 to 2, not {self.growth}")

    @classmethod
    def standard(cls) -> "Resolution":
        """For one canal on the screen and on the card."""
        return cls()

    @classmethod
    def quick(cls) -> "Resolution":
        """For many draws and for searches."""
        return cls(radial=0.1, axial=0.25, growth=1.4, tolerance=0.4)

    @classmethod
    def coarse(cls) -> "Resolution":
        """For the spread of thousands of canals: rises within about 0.3 K of the standard grid once scaled to its nominal run."""
        return cls(radial=0.2, axial=0.5, growth=1.8, tolerance=3.0, outside=3.0)

    @classmethod
    def fine(cls) -> "Resolution":
        """To judge the others by."""
        return cls(radial=0.05, axial=0.0625, growth=1.15, tolerance=0.02, outside=6.0)
