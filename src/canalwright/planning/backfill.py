"""The backfill as stations: from the top of the downpack to where it has to stop, in small portions."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Lumen
from canalwright.instruments import Needle
from canalwright.planning import practice

Array = NDArray[np.float64]
LEAST_PORTION = 0.3
"""A portion shorter than this is not injected, mm (common practice)."""


@dataclass(frozen=True, slots=True)
class Top:
    """Where the backfill stops (z), why, and whether a post gets the filling that it needs beneath it."""

    z: float
    reason: str
    below_post: float | None = None


def backfill_top(canal: Canal, downpack_top: float) -> Top:
    """Crest of bone, or the level of a post; the orifice where neither is known or reached.

    A post leaves at least 4-5 mm of filling below it. No backfill is needed below the top of the downpack.
    """
    orifice = canal.orifice
    if canal.post:
        level = canal.end + practice.BELOW_POST
        top = max(level, downpack_top)
        return Top(min(top, orifice), "post: the filling ends here", min(top, orifice) - canal.end)
    if canal.crest is not None and canal.crest < orifice:
        return Top(max(canal.crest, downpack_top), "crest of bone")
    return Top(
        orifice,
        "orifice: the crest of bone is not below it" if canal.crest is not None else "orifice: crest of bone not given",
    )


def lay_portions(bottom: float, top: float, most: float = practice.PORTION) -> tuple[tuple[float, float], ...]:
    """Equal portions of at most `most` mm between two stations, from the bottom up; none for less than `LEAST_PORTION`."""
    if top - bottom < LEAST_PORTION:
        return ()
    count = max(1, math.ceil((top - bottom) / most - 1e-9))
    edges = np.linspace(bottom, top, count + 1)
    return tuple((float(a), float(b)) for a, b in itertools.pairwise(edges))


def volumes(z: Array, minor: Array, major: Array, bottom: float, top: float) -> Array:
    """Volume between two stations for each draw: ellipses of `minor`, `major` (d, n) by the trapezoid rule, shape (d,), mm3."""
    inside = (z > bottom) & (z < top)
    at = np.concatenate([[bottom], z[inside], [top]])
    area = np.pi / 4 * minor * major
    sections = np.column_stack([_at(z, area, bottom), area[:, inside], _at(z, area, top)])
    return np.asarray(np.sum((sections[:, 1:] + sections[:, :-1]) / 2 * np.diff(at), axis=1))


def _at(z: Array, rows: Array, station: float) -> Array:
    """Each row (d, n) at one station, shape (d,); beyond the ends what stands there."""
    low = int(np.clip(np.searchsorted(z, station) - 1, 0, len(z) - 2))
    part = float(np.clip((station - z[low]) / (z[low + 1] - z[low]), 0.0, 1.0))
    return np.asarray((1 - part) * rows[:, low] + part * rows[:, low + 1])


def needle_stop(bottom: float, reach: float) -> float:
    """Where the needle's tip stands for a portion: on its floor, or as deep as it gets."""
    return max(bottom, reach)


def widest_needle(needles: tuple[tuple[Needle, float], ...], bottom: float) -> tuple[Needle, float] | None:
    """The widest bore that gets to within 1 mm of `bottom`, else the one that gets deepest; None without needles."""
    if not needles:
        return None
    fits = [pair for pair in needles if pair[1] <= bottom + 1.0]
    if fits:
        return max(fits, key=lambda pair: pair[0].inside)
    return min(needles, key=lambda pair: pair[1])


def sealer_film(lumen: Lumen, thickness: float) -> float:
    """Volume of a film of `thickness` mm on the whole wall, mm3 (perimeter of ellipses, Ramanujan 1914)."""
    a, b = lumen.major / 2, lumen.minor / 2
    perimeter = np.pi * (3 * (a + b) - np.sqrt((3 * a + b) * (a + 3 * b)))
    return float(np.sum((perimeter[1:] + perimeter[:-1]) / 2 * np.diff(lumen.z)) * thickness)
