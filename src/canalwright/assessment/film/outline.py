"""The root's outline and the terminus: the edge from bright dentine to the dark ligament, followed round the apex.

Rays leave the canal at right angles down one side, fan out round a point near the end, and go up the other side. Along each ray
the edge is where the grey, smoothed, falls fastest; dynamic programming takes the way through all rays that falls fastest altogether
and moves least from ray to ray (Bellman 1957). The filling is taken out first.
Where a ray runs through the filling it says nothing: the way goes on as its neighbours do. The steepest place of a rounded root's
shadow lies inside its edge by 0.76 of the blur (derivative of a blurred square root): moved out by that.
The terminus is where the canal's line crosses the outline.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from canalwright.assessment.film.ends import Edge
from canalwright.assessment.film.marks import FilmError
from canalwright.assessment.film.straight import Straight

Array = NDArray[np.float64]
REACH, STEP, BACK, SPACING = 4.5, 0.03, 2.6, 0.2
"""Length and step of a ray, where the fan stands before the last mark, distance between rays of the sides; mm."""
FAN = 57
SMOOTH, BLUR, INSIDE = 0.07, 0.05, 0.76
STIFF = 0.12
OWN = 0.12
"""Standard deviation of a terminus found so, mm, beside what the picture says of itself (our own estimate, checked on phantoms)."""


@dataclass(frozen=True)
class Outline:
    """`points` (n, 2) in pixels from one coronal side round the apex to the other; `sharp` (n,) edge over noise at each."""

    points: Array
    sharp: Array = field(repr=False)


def find_outline(picture: Array, hidden: NDArray[np.bool_], straight: Straight, apex: float) -> Outline:
    """The outline about the end of the line; `picture` without its filling, which
    lies where `hidden`; `apex` a first guess of the terminus (s). Raises FilmError."""
    mm = straight.mm
    smooth = gaussian_filter(picture, SMOOTH / mm)
    starts, ways = _rays(straight, apex)
    r = np.arange(0.3, REACH, STEP)
    at = starts[:, None, :] + ways[:, None, :] * (r / mm)[None, :, None]
    grey = map_coordinates(smooth, [at[..., 1], at[..., 0]], order=1, mode="nearest")
    fall = -np.gradient(grey, STEP, axis=1)
    rows, columns = picture.shape
    outside = (at[..., 0] < 1) | (at[..., 0] > columns - 2) | (at[..., 1] < 1) | (at[..., 1] > rows - 2)
    masked = map_coordinates(hidden.astype(np.float32), [at[..., 1], at[..., 0]], order=1, mode="nearest") > 0.02
    fall[outside | masked] = 0.0
    noise = 1.4826 * float(np.median(np.abs(fall - np.median(fall)))) + 1e-9
    # What lies beyond the edge must be darker than the dentine before it: a step within dentine or bone counts less.
    worth = np.clip(fall / noise, -2.0, 12.0)
    way = _least(-worth)
    radius = np.array([_finer(fall[i], k, r) for i, k in enumerate(way)])
    sharp = worth[np.arange(len(way)), way]
    if float(np.median(sharp)) < 1.5:
        raise FilmError("the root's outline is not seen about the end of the line: mark the terminus")
    radius = radius + INSIDE * float(np.hypot(SMOOTH, BLUR))
    return Outline(starts + ways * (radius / mm)[:, None], sharp)


def crossing(outline: Array, straight: Straight, after: float) -> Edge | None:
    """Where the canal's line crosses an outline (n, 2), past `after` - 3 mm; None where it does not."""
    a, b = outline[:-1], outline[1:]
    found: list[float] = []
    line = straight.line
    for i in range(len(line) - 1):
        if straight.s[i] < after - 3.0:
            continue
        p, d = line[i], line[i + 1] - line[i]
        e = b - a
        det = d[0] * -e[:, 1] + d[1] * e[:, 0]
        ok = np.abs(det) > 1e-9
        q = a - p
        t = np.where(ok, (q[:, 0] * -e[:, 1] + q[:, 1] * e[:, 0]) / np.where(ok, det, 1.0), np.nan)
        w = np.where(ok, (d[0] * q[:, 1] - d[1] * q[:, 0]) / np.where(ok, det, 1.0), np.nan)
        hit = ok & (t >= 0) & (t < 1) & (w >= 0) & (w <= 1)
        found += [float(straight.s[i] + t_ * straight.mm) for t_ in t[hit]]
    return Edge(found[-1], OWN) if found else None


def _rays(straight: Straight, apex: float) -> tuple[Array, Array]:
    """Starting points and unit directions (pixels) of all rays, in order round the root."""
    fan = max(apex - BACK, straight.s[0] + 0.1)
    stations = np.arange(straight.s[0] + 0.2, fan, SPACING)
    sides: list[tuple[Array, Array]] = []
    for s in stations:
        sides.append((straight.pixel(float(s)), _normal(straight, float(s))))
    middle, normal = straight.pixel(fan), _normal(straight, fan)
    tangent = np.array([normal[1], -normal[0]])
    turn = np.linspace(0, np.pi, FAN)
    around = [(middle, np.cos(a) * normal + np.sin(a) * tangent) for a in turn]
    back = [(p, -n) for p, n in reversed(sides)]
    everything = [*sides, *around, *back]
    return np.array([p for p, _ in everything]), np.array([n for _, n in everything])


def _normal(straight: Straight, s: float) -> Array:
    n = np.array([np.interp(s, straight.s, c) for c in straight.normal.T])
    return np.asarray(n / np.linalg.norm(n))


def _least(cost: Array) -> NDArray[np.int_]:
    """The way through columns of `cost` (rays, radii) of least sum, moving at most 4 steps a ray, each step squared costing STIFF."""
    rays, radii = cost.shape
    total, came = cost[0].copy(), np.zeros((rays, radii), int)
    moves = np.arange(-4, 5)
    for i in range(1, rays):
        padded = np.pad(total, 4, constant_values=np.inf)
        options = np.stack([padded[4 + m : 4 + m + radii] + STIFF * m * m for m in moves])
        best = np.argmin(options, axis=0)
        came[i] = np.arange(radii) + moves[best]
        total = options[best, np.arange(radii)] + cost[i]
    way = np.empty(rays, int)
    way[-1] = int(np.argmin(total))
    for i in range(rays - 1, 0, -1):
        way[i - 1] = came[i, way[i]]
    return way


def _finer(fall: Array, k: int, r: Array) -> float:
    """The steepest place near sample k, by a parabola."""
    if not 0 < k < len(r) - 1:
        return float(r[k])
    a, b, c = fall[k - 1 : k + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(r[k] + np.clip(shift, -1, 1) * (r[1] - r[0]))
