"""A scan that was opened and not yet read: its place, its size, its metadata; greys come when they are asked for.

A volume of 800 cubes is a gigabyte; the tooth in it is a thirtieth of that. `Opened.around` reads only the slices that the
tooth lies in, and of each only its part, whatever the format: no second copy of the whole is ever made.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.imaging.grid import Grid
from canalwright.imaging.refusal import refusal
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
Voxels = NDArray[np.generic]
LIMIT_BYTES = 8 << 30
"""Most that a volume may hold, bytes: more than that is no scan of a jaw."""


class Source(Protocol):
    """Where the greys of an opened scan lie."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along z, y, x."""

    @property
    def dtype(self) -> np.dtype[Any]:
        """Kind of the stored greys."""

    def slices(self, wanted: range) -> Iterator[Voxels]:
        """The stored slices `wanted` (rising), each [y, x], one after the other. Raises ScanError for a damaged one."""


@dataclass(frozen=True)
class Slices:
    """A source of slices that are decoded one by one: `decode(wanted)` yields them in order."""

    shape: tuple[int, int, int]
    dtype: np.dtype[Any]
    decode: Callable[[Sequence[int]], Iterator[Voxels]] = field(repr=False)

    def slices(self, wanted: range) -> Iterator[Voxels]:
        """As `Source.slices`."""
        yield from self.decode(wanted)


@dataclass(frozen=True)
class Opened(Grid):
    """One volume in a file or folder; fields as in `Scan`, `source` in the place of the voxels."""

    source: Source = field(repr=False)
    affine: Array
    modality: str = ""
    warnings: tuple[str, ...] = ()
    details: Mapping[str, str] = field(default_factory=dict)
    slope: float = 1.0
    intercept: float = 0.0
    path: str = ""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along z, y, x."""
        return self.source.shape

    @property
    def about(self) -> str:
        """What is known of the scan, in one line: kind, size, voxel, and the metadata that was kept."""
        nz, ny, nx = self.shape
        size = " x ".join(f"{v:.3g}" for v in self.spacing)
        kept = "".join(f"; {key} {value}" for key, value in self.details.items() if key not in ("Rows", "Columns"))
        return f"{self.modality or 'scan'} of {nx} x {ny} x {nz} voxels of {size} mm{kept}"

    def whole(self) -> Scan:
        """All of it, in memory as stored. Raises ScanError for damage and for greys that are no numbers."""
        return self._read((0, 0, 0), self.shape[::-1], self.affine)

    def crop(self, low: Array, high: Array) -> Scan:
        """The part whose voxels cover the LPS box `low` to `high` (mm), in memory. Raises ScanError as `whole` does."""
        first, last, affine = self.box(low, high)
        return self._read(first, last, affine)

    def around(self, points: ArrayLike, reach: float) -> Scan:
        """The part within `reach` mm of LPS points (m, 3) on every side. Raises ScanError when it misses the volume."""
        places = np.asarray(points, float).reshape(-1, 3)
        return self.crop(places.min(axis=0) - reach, places.max(axis=0) + reach)

    def _read(
        self, first: Sequence[int] | NDArray[np.int64], last: Sequence[int] | NDArray[np.int64], affine: Array
    ) -> Scan:
        x, y, z = (slice(int(a), int(b)) for a, b in zip(first, last, strict=True))
        size = (z.stop - z.start, y.stop - y.start, x.stop - x.start)
        need = int(np.prod(size, dtype=object)) * self.source.dtype.itemsize
        if need > LIMIT_BYTES:
            raise refusal(self.path, f"{need / 2**30:.1f} GiB of greys, allowed {LIMIT_BYTES >> 30}: crop it first")
        try:
            return self._filled((x, y, z), np.empty(size, self.source.dtype), affine)
        except MemoryError:
            raise refusal(
                self.path, f"{need / 2**30:.1f} GiB of greys do not fit into the memory that is left",
                remedy="give a point in the tooth (--click x,y,z), so that only its part is read",
            ) from None  # fmt: skip

    def _filled(self, box: tuple[slice, slice, slice], out: Voxels, affine: Array) -> Scan:
        x, y, z = box
        for at, one in enumerate(self.source.slices(range(z.start, z.stop))):
            out[at] = one[y, x]
            if out.dtype.kind == "f" and not np.isfinite(out[at]).all():
                raise refusal(self.path, "greys that are not numbers (NaN or infinite): export it again")
        return Scan(out, affine, self.modality, self.warnings, self.details, self.slope, self.intercept, self.path)
