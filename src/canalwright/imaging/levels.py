"""Level of the bone crest and of the cemento-enamel junction along a canal, where the scan shows them.

The canal's line goes straight on above its orifice. In every direction the greys just outside the root's surface tell
bone from soft tissue: the crest is where they fall half way from one to the other, coming from below. Greys outside
dentine that far exceed it are enamel; the junction is the lowest place from which they last. The level that counts is the
lowest one over the directions for bone (a defect), less what roughness alone makes of it, and the median for the junction;
their spread is in the error.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.found import NINETY, FoundCanal
from canalwright.imaging.tracing.block import take
from canalwright.imaging.tracing.path import tones_of
from canalwright.imaging.volume import Scan
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
STEP = 0.1
ABOVE = 8.0
"""How far above the orifice the levels are looked for, mm."""
DIRECTIONS = 24
OUTSIDE = (0.35, 1.1)
"""Where outside the root's surface bone is looked for, mm."""
ENAMEL = 0.15
"""Share of the contrast above dentine from which hard tissue is enamel."""
THIN = 0.55
"""How far enamel begins below where it is first seen, mm: its thin edge is lost in the blur (phantoms, seeds 1000 to 1039)."""
LEAST_DOUBT = 0.1
"""Least doubt of the junction beyond voxel and terminus, mm."""
ROUGH = 2.0
"""How far the lowest tenth of directions lies below a level crest, in deviations of one direction beside the next."""


@dataclass(frozen=True)
class Levels:
    """Levels from the terminus (mm) with intervals, None where they are not seen: bone crest (the lowest of all
    directions), the crest's least and greatest by direction, and the cemento-enamel junction.
    """

    crest: Quantity | None
    crest_range: tuple[float, float] | None
    cej: Quantity | None


def levels(scan: Scan, canal: FoundCanal) -> Levels:
    """The levels that the scan shows about a canal. Raises ScanError where the canal does not lie in the scan."""
    z, points, one, two = _carried(canal)
    low, high = scan.extent
    inside = np.all((points > low + 0.3) & (points < high - 0.3), axis=1)
    z, points, one, two = z[inside], points[inside], one[inside], two[inside]
    reach = np.clip(np.vstack([points.min(0) - 6.0, points.max(0) + 6.0]), low, high)
    block = take(scan, reach, 0.0)
    tones = tones_of(take(scan, np.array([canal.orifice, canal.terminus]), 2.0), canal.orifice, canal.terminus)
    r = np.arange(0.3, 6.0, 0.5 * block.voxel)
    turn = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    ways = np.cos(turn)[:, None] * one[:, None] + np.sin(turn)[:, None] * two[:, None]
    grey = block.sample(points[:, None, None] + r[:, None] * ways[:, :, None], smooth=False)
    shares = (grey - tones.dentine) / tones.contrast
    skin = _skin(shares, r)
    error = float(np.hypot(block.voxel / 2, canal.length_error))
    source = Source(Origin.SCAN, canal.source)
    bone = _outside(shares, r, skin)
    crests = np.array([_fall(z, bone[:, k]) for k in range(DIRECTIONS)])
    seen = np.isfinite(crests)
    crest, span = None, None
    if seen.mean() > 0.5:
        span = (float(np.quantile(crests[seen], 0.1)), float(np.quantile(crests[seen], 0.9)))
        rough = _roughness(crests)
        crest = _near(span[0] + ROUGH * rough, float(np.hypot(error, rough)), source)
    hard = np.where(r < skin[..., None] + 0.3, shares, -1.0).max(axis=2)
    junctions = np.array([_rise(z, hard[:, k]) for k in range(DIRECTIONS)])
    known = np.isfinite(junctions)
    cej = None
    if known.mean() > 0.5:
        spread = 1.4826 * float(np.median(np.abs(junctions[known] - np.median(junctions[known]))))
        cej = _near(float(np.median(junctions[known])) - THIN, float(np.hypot(error, max(spread, LEAST_DOUBT))), source)
    return Levels(crest, span, cej)


def _carried(canal: FoundCanal) -> tuple[Array, Array, Array, Array]:
    """Stations from 2 mm above the terminus to `ABOVE` mm past the orifice: z, points, and two directions across."""
    lumen = canal.lumen
    back = lumen.centre[-1] - lumen.centre[max(0, lumen.size - 31)]
    back = back / np.linalg.norm(back)
    over = np.arange(STEP, ABOVE, STEP)
    z = np.concatenate([lumen.z, lumen.z[-1] + over])
    points = np.vstack([lumen.centre, lumen.centre[-1] + over[:, None] * back])
    keep = z >= 2.0
    way = canal.crown
    one = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    one /= np.linalg.norm(one)
    count = int(keep.sum())
    return z[keep], points[keep], np.tile(one, (count, 1)), np.tile(np.cross(way, one), (count, 1))


def _skin(shares: Array, r: Array) -> Array:
    """Where hard tissue last ends along each ray (stations, directions): the first lasting fall past the first dentine."""
    hard = shares > -0.3
    first = np.argmax(hard, axis=2)
    gone = ~hard & (np.arange(len(r)) > first[..., None])
    end = np.where(gone.any(axis=2), np.argmax(gone, axis=2), len(r) - 1)
    return np.asarray(r[end])


def _outside(shares: Array, r: Array, skin: Array) -> Array:
    """Mean share just outside the surface (stations, directions)."""
    near = (r > skin[..., None] + OUTSIDE[0]) & (r < skin[..., None] + OUTSIDE[1])
    count = near.sum(axis=2)
    return np.where(count > 0, np.where(near, shares, 0.0).sum(axis=2) / np.maximum(count, 1), np.nan)


def _fall(z: Array, values: Array) -> float:
    """Level at which the values, smoothed, fall for good below half way between their lower and their upper part."""
    good = np.isfinite(values)
    if good.sum() < 30:
        return float("nan")
    z, values = z[good], values[good]
    best, at = 0.0, float("nan")
    total, square = np.cumsum(values), np.cumsum(values**2)
    n = len(values)
    for k in range(10, n - 10):
        below, above = total[k] / (k + 1), (total[-1] - total[k]) / (n - k - 1)
        within = square[-1] - (k + 1) * below**2 - (n - k - 1) * above**2
        gain = (below - above) / np.sqrt(max(within / n, 1e-6))
        if gain > best:
            best, at = float(gain), float((z[k] + z[k + 1]) / 2)
    return at if best > 2.0 else float("nan")


def _rise(z: Array, hard: Array) -> float:
    """Lowest level from which the hardest tissue stays above enamel's share for 1 mm."""
    flags = hard > ENAMEL
    run = round(1.0 / STEP)
    total = np.concatenate([[0], np.cumsum(flags)])
    lasting = np.nonzero(total[run:] - total[:-run] >= 0.9 * run)[0]
    return float(z[lasting[0]]) if len(lasting) else float("nan")


def _roughness(crests: Array) -> float:
    """Standard deviation of the crest in one direction, from its differences to the next: a defect is smooth, marrow is not."""
    steps = np.abs(np.diff(np.append(crests, crests[0])))
    steps = steps[np.isfinite(steps)]
    return float(1.4826 * np.median(steps) / np.sqrt(2)) if len(steps) else 0.0


def _near(value: float, error: float, source: Source) -> Quantity:
    return Quantity(value, value - NINETY * error, value + NINETY * error, "mm", source)
