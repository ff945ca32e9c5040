"""Isthmuses between two canals of a root: a dark strip from one lumen to the other, too thin to be a canal.

At each station of the one canal the greys on the straight way to the other one are looked at, where the blurred edges of
both lumens have faded. The strip is told where none of that way is as bright as dentine, over `LONG` mm of the root.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, label, uniform_filter1d
from scipy.spatial import cKDTree

from canalwright.imaging.found import FoundCanal
from canalwright.imaging.tooth.outline import Tooth

Array = NDArray[np.float64]
DARK = 0.12
"""Darkness of its brightest place: a strip of 0.06 mm at voxels of 0.2 mm; noise of a thirtieth of the contrast shows 0.02."""
FADED = 1.5
"""Distance from a lumen at which its blurred edge has faded, voxels."""
LONG = 0.5
"""Least length told, mm; gaps of less than twice that are passed over."""
FARTHEST = 4.0
SAMPLES = 9


def isthmuses(tooth: Tooth, canals: Sequence[FoundCanal]) -> list[FoundCanal]:
    """The canals, each with a note where an isthmus joins it to another one."""
    said: dict[str, list[str]] = {canal.name: [] for canal in canals}
    for one, other in combinations(canals, 2):
        for low, high in strips(tooth, one, other, [c for c in canals if c is not one and c is not other]):
            said[one.name].append(f"an isthmus joins it to {other.name} near z {low:.1f} to {high:.1f} mm")
            said[other.name].append(f"an isthmus joins it to {one.name}")
    return [replace(c, notes=(*c.notes, *dict.fromkeys(said[c.name]))) for c in canals]


def strips(
    tooth: Tooth, one: FoundCanal, other: FoundCanal, more: Sequence[FoundCanal] = ()
) -> list[tuple[float, float]]:
    """Ranges of z of the canal `one` over which an isthmus joins it to `other`, mm; none where one of `more` or what is no tooth lies
    between.
    """
    away, at = cKDTree(other.lumen.centre).query(one.lumen.centre)
    way = (other.lumen.centre[at] - one.lumen.centre) / np.maximum(away, 1e-9)[:, None]
    faded = FADED * tooth.block.voxel
    rows = range(one.lumen.size)
    first = np.array([float(one.half(i, way[i])[0]) for i in rows]) + faded
    last = away - np.array([float(other.half(j, w)[0]) for j, w in zip(at, way, strict=True)]) - faded
    between = (last > first) & (away < FARTHEST) & (one.lumen.z > 1.0)
    share = np.linspace(0, 1, SAMPLES)[None, :, None]
    points = one.lumen.centre[:, None] + (first[:, None, None] + share * (last - first)[:, None, None]) * way[:, None]
    between &= tooth.holds(points.reshape(-1, 3)).reshape(points.shape[:2]).all(axis=1)
    for third in more:
        near, at = cKDTree(third.lumen.centre).query(points)
        between &= ~(near < third.lumen.major[at] / 2 + faded).any(axis=1)
    dark = uniform_filter1d(tooth.darkness(points), 5, axis=0, mode="nearest")
    seen = binary_closing(between & (dark.min(axis=1) > DARK), np.ones(10, bool))
    names, count = label(seen)
    out = []
    for name in range(1, count + 1):
        z = one.lumen.z[names == name]
        if z[-1] - z[0] >= LONG:
            out.append((float(z[0]), float(z[-1])))
    return out
