"""How the canals of a root join and part: Vertucci's types, and any other as a sequence.

Along the root from its orifices down the separate lumens are counted; a count that holds for less than `LEAST` mm is
passed over. The counts in a row make the sequence, such as 1-2-1, and the type by Vertucci 1984, Oral Surg 58:589-599:
I 1, II 2-1, III 1-2-1, IV 2, V 1-2, VI 2-1-2, VII 1-2-1-2, VIII 3.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.found import FoundCanal
from canalwright.imaging.joins import touching

Array = NDArray[np.float64]
LEAST = 0.8
TYPES = {
    (1,): "I", (2, 1): "II", (1, 2, 1): "III", (2,): "IV", (1, 2): "V", (2, 1, 2): "VI", (1, 2, 1, 2): "VII", (3,): "VIII",
}  # fmt: skip
STEP = 0.1


@dataclass(frozen=True)
class Configuration:
    """The canals of one root: number of lumens from the orifices down, and the heights (mm above the lowest terminus,
    along the root) at which it changes, coronal first. `error`: standard deviation of these heights.
    """

    canals: tuple[str, ...]
    sequence: tuple[int, ...]
    changes: tuple[float, ...]
    error: float

    @property
    def type(self) -> str:
        """Vertucci's type, 'I' to 'VIII', or 'other'."""
        return TYPES.get(self.sequence, "other")

    def __str__(self) -> str:
        said = "-".join(map(str, self.sequence))
        name = f"Vertucci type {self.type}" if self.type != "other" else "no type of Vertucci's"
        where = ", ".join(f"{h:.1f}" for h in self.changes)
        return f"{name} ({said})" + (f", changing {where} mm above the terminus" if where else "")


def configuration(canals: Sequence[FoundCanal]) -> Configuration:
    """How the canals of one root join and part. Raises ValueError without any."""
    if not canals:
        raise ValueError("a configuration needs a canal")
    crown = np.mean([c.crown for c in canals], axis=0)
    crown = crown / np.linalg.norm(crown)
    base = min(float(c.terminus @ crown) for c in canals)
    top = min(float(c.orifice @ crown) for c in canals) - base
    heights = np.arange(0.0, max(top, STEP), STEP)[::-1]
    rows = [np.maximum.accumulate(c.lumen.centre @ crown) - base for c in canals]
    at = [np.clip(np.searchsorted(row, heights), 0, len(row) - 1) for row in rows]
    counts = np.full(len(heights), len(canals))
    groups = [list(range(len(canals))) for _ in heights]
    for i, one in enumerate(canals):
        for j, other in enumerate(canals[:i]):
            met = touching(one.lumen, other.lumen)[at[i]] & touching(other.lumen, one.lumen)[at[j]]
            for k in np.nonzero(met)[0]:
                old, new = groups[k][i], groups[k][j]
                groups[k] = [new if g == old else g for g in groups[k]]
    counts = np.array([len(set(g)) for g in groups])
    sequence, changes = _runs(counts, heights)
    error = float(np.hypot(STEP, np.median([np.median(c.width_error) for c in canals]) * 5))
    return Configuration(tuple(c.name for c in canals), sequence, changes, error)


def roots(canals: Sequence[FoundCanal]) -> list[list[FoundCanal]]:
    """The canals by root: those whose termini lie in one piece of dentine.

    Two canals share a root where the straight way between their centrelines, half way up the shorter one, is no longer
    than what lies between lumen and root surface on the facing sides: less than their walls and widths and 0.5 mm.
    """
    names = list(range(len(canals)))
    for i, one in enumerate(canals):
        for j, other in enumerate(canals[:i]):
            if _one_root(one, other):
                old, new = names[i], names[j]
                names = [new if n == old else n for n in names]
    return [[c for c, n in zip(canals, names, strict=True) if n == name] for name in dict.fromkeys(names)]


def _one_root(one: FoundCanal, other: FoundCanal) -> bool:
    """Judged at the lowest third of the shorter canal."""
    crown = one.crown + other.crown
    crown = crown / np.linalg.norm(crown)
    low = max(float(one.terminus @ crown), float(other.terminus @ crown))
    high = min(float(one.orifice @ crown), float(other.orifice @ crown))
    level = low + (high - low) / 3
    a, b = (int(np.argmin(np.abs(c.lumen.centre @ crown - level))) for c in (one, other))
    way = other.lumen.centre[b] - one.lumen.centre[a]
    apart = float(np.linalg.norm(way))
    solid = 0.5
    for canal, at, sign in ((one, a, 1.0), (other, b, -1.0)):
        solid += canal.reach(at, sign * way)
    return apart < solid


def _runs(counts: NDArray[np.int_], heights: Array) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """The counts in a row without those of short runs, and the heights between them."""
    runs: list[tuple[int, float, float]] = []
    start = 0
    for count, group in groupby(counts.tolist()):
        size = len(list(group))
        runs.append((count, float(heights[start]), float(heights[start + size - 1])))
        start += size
    kept: list[tuple[int, float, float]] = []
    for count, high, low in runs:
        if high - low + STEP < LEAST and len(runs) > 1:
            continue
        if kept and kept[-1][0] == count:
            kept[-1] = (count, kept[-1][1], low)
        else:
            kept.append((count, high, low))
    kept = kept or runs[:1]
    changes = tuple(round((a[2] + b[1]) / 2, 2) for a, b in pairwise(kept))
    return tuple(k[0] for k in kept), changes
