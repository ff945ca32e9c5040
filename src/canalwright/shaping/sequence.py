"""A sequence of files in one canal: where each of them cuts, what it takes, what all of them leave.

Each file cuts the circle of its own diameter about the centreline (see `envelope`); it cuts where that circle is wider than
the least width that it meets. Left out: as for the finishing file, transportation and wobble.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.instruments import File
from canalwright.shaping.envelope import envelope
from canalwright.shaping.section import union_area, untouched_share

Array = NDArray[np.float64]
LOCKS = 0.9
"""A file that cuts along this share of its length or more may draw itself in and lock (common practice)."""


@dataclass(frozen=True)
class Pass:
    """What one file of a sequence does, taken to z = `end`.

    `cuts` (n,) true where it takes dentine; `lowest`, `highest` z of those; `share` of its engaged length that cuts:
    a file that cuts along all of it may lock. `volume` mm3 taken. `untouched` (n,) share of the native outline that no file so
    far has reached.
    """

    file: File
    end: float
    cuts: NDArray[np.bool_]
    lowest: float
    highest: float
    share: float
    volume: float
    untouched: Array

    @property
    def locks(self) -> bool:
        """True where the file cuts along so much of its length that it may lock."""
        return self.share >= LOCKS


def sequence(canal: Canal, files: Sequence[tuple[File, float]]) -> tuple[Pass, ...]:
    """What each file of the sequence, given with the z of its deepest place, does in the native lumen, in order.

    Raises ValueError for a place outside the canal.
    """
    native = canal.native
    cut = np.zeros(native.size)
    area = union_area(native.minor, native.major, cut)
    passes = []
    for file, end in files:
        if not 0 <= end <= native.z[-1]:
            raise ValueError(f"file {file.name} to z = {end:g} mm: the canal goes from 0 to {native.z[-1]:.1f} mm")
        own = envelope(file, native.z, end)
        cuts = own > np.maximum(native.minor, cut) + 1e-9
        cut = np.maximum(cut, own)
        after = union_area(native.minor, native.major, cut)
        inside = own > 0
        where = native.z[cuts] if cuts.any() else np.array([np.nan])
        passes.append(
            Pass(
                file, end, cuts, float(where[0]), float(where[-1]), float(cuts.sum() / max(inside.sum(), 1)),
                float(np.trapezoid(after - area, native.z)), untouched_share(native.minor, native.major, cut),
            )
        )  # fmt: skip
        area = after
    return tuple(passes)
