"""Bookkeeping of the filled space: gutta-percha, sealer, void, by station and in total."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fill:
    """What fills the canal in the end, at 37 C: shares of the section by draw and station (d, n), summing to 1.

    `z` (n,) stations, `area` (g, n) of the lumen, `filled` (d, n) marks the stations up to the top of the filling.
    """

    z: Array
    area: Array
    gutta: Array
    sealer: Array
    void: Array
    filled: NDArray[np.bool_]
    bubble: Array
    perimeter: Array

    def seen(self, voxel: float) -> "Fill":
        """The same as a scan of this `voxel` [mm] shows it: a thinner gap along the wall looks filled.

        Bubbles laid down with injected gutta-percha are taken as seen.
        """
        gap = self.void * self.area / self.perimeter
        void = np.where(gap >= voxel, self.void, np.minimum(self.void, self.bubble))
        return replace(self, gutta=self.gutta + self.void - void, void=void)

    def share(self, of: str, low: float = 0.0, high: float = np.inf) -> Array:
        """Share of the volume between stations `low` and `high` that is 'gutta', 'sealer' or 'void', shape (d,)."""
        part = {"gutta": self.gutta, "sealer": self.sealer, "void": self.void}[of]
        inside = self.filled & (self.z >= low - 1e-9) & (self.z <= high + 1e-9)
        volume = np.broadcast_to(self.area, part.shape) * inside
        return np.asarray((part * volume).sum(1) / np.maximum(volume.sum(1), 1e-12))


def fill(z: Array, area: Array, gutta: Array, sealer: Array, surface: Array, bubble: Array, perimeter: Array) -> Fill:
    """Shares from section areas (d, n) of cooled gutta-percha and sealer, below the free `surface` (d,)."""
    whole = np.broadcast_to(area, gutta.shape)
    g = np.clip(gutta / whole, 0.0, 1.0)
    s = np.clip(sealer / whole, 0.0, 1.0 - g)
    top = z[None, :] < surface[:, None] - 1e-9
    return Fill(z, area, g, s, 1.0 - g - s, top, bubble / whole, perimeter)


@dataclass(frozen=True)
class Ledger:
    """Volumes by draw (d,), mm3, gutta-percha as cooled: placed, inside the canal, in branches, beyond, removed."""

    gutta_placed: Array
    gutta_inside: Array
    gutta_branches: Array
    gutta_beyond: Array
    gutta_removed: Array
    sealer_placed: Array
    sealer_inside: Array
    sealer_branches: Array
    sealer_beyond: Array
    sealer_removed: Array

    @property
    def gap(self) -> Array:
        """Greatest share of what was placed that the ledger cannot account for, shape (d,)."""
        gutta = self.gutta_inside + self.gutta_branches + self.gutta_beyond + self.gutta_removed - self.gutta_placed
        sealer = (
            self.sealer_inside + self.sealer_branches + self.sealer_beyond + self.sealer_removed - self.sealer_placed
        )
        return np.asarray(
            np.maximum(
                np.abs(gutta) / np.maximum(self.gutta_placed, 1e-12),
                np.abs(sealer) / np.maximum(self.sealer_placed, 1e-12),
            )
        )
