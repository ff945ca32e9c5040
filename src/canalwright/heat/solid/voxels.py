"""How finely the solid model resolves space and time."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Voxels:
    """Cells and tolerance.

    `voxel` mm across the canal and `along` mm along it, growing away from it by the factor `growth` per cell, to `widest` mm within
    the root; `outside` mm of tissue round root and apex; `tolerance` K: root mean square over the cells of the error that one step
    may add. Raises ValueError for sizes that are not positive, or a growth outside 1 to 2.
    """

    voxel: float = 0.1
    along: float = 0.2
    growth: float = 1.5
    widest: float = 0.3
    outside: float = 4.0
    tolerance: float = 0.1

    def __post_init__(self) -> None:
        for name in ("voxel", "along", "widest", "outside", "tolerance"):
            if not 0 < getattr(self, name) < float("inf"):
                raise ValueError(f"{name} of the solid heat model must be a positive number, not {getattr(self, name)}")
        if not 1 <= self.growth <= 2:
            raise ValueError(f"growth of the solid heat model must be from 1 to 2, not {self.growth}")

    @classmethod
    def standard(cls) -> "Voxels":
        """For one root."""
        return cls()

    @classmethod
    def quick(cls) -> "Voxels":
        """For searches and tables of choices."""
        return cls(voxel=0.12, along=0.3, growth=1.5, widest=0.45, tolerance=0.2)

    @classmethod
    def coarse(cls) -> "Voxels":
        """For many draws, which are taken in proportion to the nominal one on the same cells."""
        return cls(voxel=0.15, along=0.4, growth=1.6, widest=0.5, outside=3.0, tolerance=0.3)

    @classmethod
    def fine(cls) -> "Voxels":
        """To judge the others by."""
        return cls(voxel=0.05, along=0.1, growth=1.2, widest=0.15, outside=6.0, tolerance=0.02)
