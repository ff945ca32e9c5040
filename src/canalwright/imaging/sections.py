"""Cross-sections: from the outline of a lumen in a plane to its widths, and from all of them to a `Lumen`.

An outline is a closed polygon, shape (m, 2), last point not repeated, mm in the plane of the section
(`Centreline.to_plane`). Widths are caliper widths: `minor` the least and `major` the greatest distance
between two parallel lines that hold the outline between them, as sections are measured under a microscope.
`inscribed` is the largest circle that fits: what a round instrument meets.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import ConvexHull, QhullError

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging.centreline import Centreline

Array = NDArray[np.float64]
AXIS_SMOOTHING = 0.3
"""Standard deviation of the smoothing of the direction of the greatest width along the canal, mm."""


@dataclass(frozen=True, slots=True)
class Section:
    """Widths, area and centre (2,) of one outline, mm; `tensor` (2, 2) second moment of the area about the centre."""

    minor: float
    major: float
    inscribed: float
    area: float
    perimeter: float
    centre: Array
    tensor: Array


def measure(outline: Array, *, round_room: bool = True) -> Section:
    """Measure an outline (m, 2), m >= 3, turned either way; `round_room` False leaves `inscribed` out (0), for speed.

    Raises ValueError for an outline without area.
    """
    p = np.asarray(outline, dtype=float)
    signed, centre, tensor = _moments(p)
    if len(p) < 3 or abs(signed) < 1e-10:
        raise ValueError("an outline needs three points and an area")
    minor, major = _calipers(p)
    perimeter = float(np.sum(np.linalg.norm(p - np.roll(p, -1, axis=0), axis=1)))
    room = _inscribed(p, centre) if round_room else 0.0
    return Section(minor, major, room, abs(signed), perimeter, centre, tensor)


def signed_area(outline: Array) -> float:
    """Area of an outline (m, 2), positive when it runs counter-clockwise."""
    x, y = np.asarray(outline, dtype=float).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def contains(outline: Array, point: Array) -> bool:
    """Whether `point` (2,) lies inside the outline (m, 2): even-odd rule."""
    a, b = np.asarray(outline), np.roll(outline, -1, axis=0)
    across = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        x = a[:, 0] + (point[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool(np.sum(across & (point[0] < x)) % 2)


def clip(outline: Array, point: Array, outward: Array) -> Array:
    """The part of the outline (m, 2) on the inner side of a line through `point` with normal `outward`.

    Sutherland & Hodgman 1974, Commun ACM 17:32-42, one edge. Shape (k, 2); (0, 2) when nothing is left.
    """
    p = np.asarray(outline, dtype=float)
    side = (p - point) @ np.asarray(outward)
    kept: list[Array] = []
    for i in range(len(p)):
        j = (i + 1) % len(p)
        if side[i] <= 0:
            kept.append(p[i])
        if (side[i] <= 0) != (side[j] <= 0):
            kept.append(p[i] + side[i] / (side[i] - side[j]) * (p[j] - p[i]))
    return np.array(kept).reshape(-1, 2)


def gap(inner: Array, outer: Array) -> tuple[float, Array]:
    """Least distance from the outline `inner` (m, 2) to the outline `outer` (k, 2), and its direction (2,).

    Every corner against every edge, both ways, so it is exact for outlines that do not cross.
    """
    there, way = _corner_to_edge(inner, outer)
    back, yaw = _corner_to_edge(outer, inner)
    distance, direction = (there, way) if there <= back else (back, -yaw)
    return distance, direction / distance if distance > 0 else np.zeros(2)


def lumen(centreline: Centreline, sections: Sequence[Section], wall: Array) -> Lumen:
    """The `Lumen` of a centreline whose first point is the terminus, one section per station, wall (n,)."""
    n = len(centreline.s)
    if len(sections) != n or len(wall) != n:
        raise ValueError(f"{n} stations need {n} sections and walls, not {len(sections)} and {len(wall)}")
    minor = np.array([section.minor for section in sections])
    major = np.maximum(minor, [section.major for section in sections])
    return Lumen(
        z=centreline.s,
        minor=minor,
        major=major,
        centre=centreline.points,
        axis=axes(centreline, sections),
        wall=np.asarray(wall, dtype=float),
        area=np.array([section.area for section in sections]),
    )


def axes(centreline: Centreline, sections: Sequence[Section]) -> Array:
    """Unit direction of the greatest width at each station, shape (n, 3).

    The long axis of the area's second moment, in the frame that turns least. The moments (not the
    angles) are smoothed along the canal, so round stations take the direction of oval neighbours.
    """
    moment = np.array([section.tensor for section in sections])
    c = gaussian_filter1d(moment[:, 0, 0] - moment[:, 1, 1], AXIS_SMOOTHING / _step(centreline), mode="nearest")
    s = gaussian_filter1d(2 * moment[:, 0, 1], AXIS_SMOOTHING / _step(centreline), mode="nearest")
    angle = np.unwrap(np.arctan2(s, c)) / 2
    return np.asarray(np.cos(angle)[:, None] * centreline.normal + np.sin(angle)[:, None] * centreline.binormal)


def _step(centreline: Centreline) -> float:
    return float(centreline.s[1] - centreline.s[0]) if len(centreline.s) > 1 else 1.0


def _moments(p: Array) -> tuple[float, Array, Array]:
    """Signed area, centroid and central second moments of a polygon (Green's theorem)."""
    base = p.mean(axis=0)
    a = p - base
    b = np.roll(a, -1, axis=0)
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    area = float(cross.sum() / 2)
    if area == 0:
        return 0.0, base, np.zeros((2, 2))
    centre = ((a + b) * cross[:, None]).sum(axis=0) / (6 * area)
    xx = float((cross * (a[:, 0] ** 2 + a[:, 0] * b[:, 0] + b[:, 0] ** 2)).sum() / 12)
    yy = float((cross * (a[:, 1] ** 2 + a[:, 1] * b[:, 1] + b[:, 1] ** 2)).sum() / 12)
    xy = float(
        (cross * (a[:, 0] * b[:, 1] + 2 * a[:, 0] * a[:, 1] + 2 * b[:, 0] * b[:, 1] + b[:, 0] * a[:, 1])).sum() / 24
    )
    raw = np.array([[xx, xy], [xy, yy]]) * np.sign(area)
    return area, base + centre, raw - abs(area) * np.outer(centre, centre)


def _calipers(p: Array) -> tuple[float, float]:
    """Least and greatest caliper width; the least one has a hull edge on one of its two lines."""
    try:
        hull = p[ConvexHull(p).vertices]
    except QhullError:
        hull = p
    edges = np.roll(hull, -1, axis=0) - hull
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.linalg.norm(edges, axis=1)[:, None]
    spans = np.ptp(hull @ normals.T, axis=0)
    pairs = hull[:, None] - hull[None]
    return float(spans.min()), float(np.sqrt((pairs**2).sum(axis=2).max()))


def _inscribed(p: Array, start: Array) -> float:
    """Diameter of the largest inscribed circle: grid search refined about the best point, to 1 % of the size."""
    a, b = p, np.roll(p, -1, axis=0)
    low, high = p.min(axis=0), p.max(axis=0)
    best, centre, span = 0.0, start, (high - low) / 2
    middle = (low + high) / 2
    for turn in range(5):
        grid = np.linspace(-1, 1, 11 if turn == 0 else 5)
        points = (middle + np.stack(np.meshgrid(grid, grid), axis=-1) * span).reshape(-1, 2)
        points = np.vstack([points, centre])
        inside = _many_inside(points, a, b)
        if inside.any():
            distance = np.where(inside, _to_edges(points, a, b), -1.0)
            top = int(np.argmax(distance))
            if distance[top] > best:
                best, centre = float(distance[top]), points[top]
        middle, span = centre, span / (5 if turn == 0 else 2)
    return 2 * best


def _many_inside(points: Array, a: Array, b: Array) -> NDArray[np.bool_]:
    y = points[:, 1, None]
    across = (a[:, 1] > y) != (b[:, 1] > y)
    rise = np.where(b[:, 1] == a[:, 1], 1.0, b[:, 1] - a[:, 1])
    x = a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / rise
    return np.asarray((across & (points[:, 0, None] < x)).sum(axis=1) % 2 == 1)


def _to_edges(points: Array, a: Array, b: Array) -> Array:
    """Distance of each point (k, 2) to the nearest of the edges a-b."""
    return np.asarray(np.linalg.norm(_feet(points, a, b) - points[:, None], axis=2).min(axis=1))


def _feet(points: Array, a: Array, b: Array) -> Array:
    along = b - a
    size = np.maximum((along**2).sum(axis=1), 1e-30)
    t = np.clip(((points[:, None] - a) * along).sum(axis=2) / size, 0, 1)
    return np.asarray(a + t[..., None] * along)


def _corner_to_edge(corners: Array, outline: Array) -> tuple[float, Array]:
    corners = np.asarray(corners, dtype=float)
    feet = _feet(corners, np.asarray(outline, dtype=float), np.roll(outline, -1, axis=0))
    ways = feet - corners[:, None]
    distance = np.linalg.norm(ways, axis=2)
    i, j = np.unravel_index(int(np.argmin(distance)), distance.shape)
    return float(distance[i, j]), ways[i, j]
