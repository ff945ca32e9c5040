"""The curve of a canal from points marked on a radiograph: angles of Schneider, Weine and Pruett, radius and length.

Definitions. *Schneider* (1971, Oral Surg 32:271-275): between the coronal axis of the canal and the line from where it
leaves that axis to the foramen. *Weine* and *Pruett* (Pruett, Clement & Carnes 1997, J Endod 23:77-85): between
the coronal axis and the apical one; Pruett adds the radius of the circle that touches both axes where the canal leaves
them. For a circular arc of angle a that ends at the foramen Schneider gives a / 2.

The canal is fitted as straight - arc - straight by least squares over all marks. Left out: a second curve (mark the two apart),
and all curvature in the direction of the beam, which no film shows.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import MARK_ERROR, Array, Scale, as_marks
from canalwright.quantities import Origin, Quantity, Source


@dataclass(frozen=True)
class FilmCurve:
    """One curve: angles in degrees, `radius`, `start` (from the foramen along the canal) and `length` of the canal in mm.

    `straight` where the curve is too gentle to have a radius (then infinite). `misfit` is the spread of the marks about
    the fitted line, mm.
    """

    schneider: Quantity
    pruett: Quantity
    radius: Quantity
    start: Quantity
    length: Quantity
    misfit: float
    straight: bool

    @property
    def weine(self) -> Quantity:
        """The angle between the two axes, as Pruett's."""
        return self.pruett


def schneider(coronal: ArrayLike, leaves: ArrayLike, foramen: ArrayLike) -> float:
    """Schneider's angle [degrees] from three marks, each (2,): on the coronal axis, where the canal leaves it, foramen."""
    return _angle(np.subtract(leaves, coronal), np.subtract(foramen, leaves))


def pruett(coronal: ArrayLike, leaves: ArrayLike, meets: ArrayLike, foramen: ArrayLike) -> tuple[float, float]:
    """Angle [degrees] and radius [pixels] from four marks: two on each axis, the inner two where the arc begins and ends.

    The radius is that of the circle that touches both axes, from the mean distance of the inner marks to where the axes
    cross: r = t / tan(angle / 2). Infinite for parallel axes.
    """
    a, b, c, d = (np.asarray(p, dtype=float) for p in (coronal, leaves, meets, foramen))
    angle = _angle(b - a, d - c)
    if angle < 1e-6:
        return angle, float("inf")
    crossing = np.column_stack([b - a, c - d])
    if abs(np.linalg.det(crossing)) < 1e-9:
        return angle, float("inf")
    along, back = np.linalg.solve(crossing, c - a)
    tangent = (abs(along - 1) * np.linalg.norm(b - a) + abs(back) * np.linalg.norm(d - c)) / 2
    return angle, float(tangent / np.tan(np.radians(angle) / 2))


def curve_of(
    marks: ArrayLike, scale: Scale, *, mark_error: float = MARK_ERROR, draws: int = 40, seed: int = 5
) -> FilmCurve:
    """The curve of a canal from marks (n, 2), n >= 6, from coronal to the foramen, with 5-95 % intervals.

    Intervals come from `draws` refits of the fitted line's points, moved by `mark_error` [pixels] or, where that is more, by
    the misfit (parametric bootstrap). Raises ScanError for
    too few marks, or marks that turn back.
    """
    points = as_marks(marks, 6, "a curve") * scale.value
    steps = np.diff(points, axis=0)
    if (np.linalg.norm(steps, axis=1) < 1e-9).any() or (np.sum(steps[1:] * steps[:-1], axis=1) < 0).any():
        raise ScanError("marks of a canal must run from coronal to the foramen without turning back: mark them again")
    total = float(np.linalg.norm(steps, axis=1).sum())
    best, fitted = _fit(points)
    misfit = float(np.sqrt(np.mean(np.sum((fitted - points) ** 2, axis=1))))
    spread = max(mark_error * scale.value, misfit)
    rng = np.random.default_rng(seed)
    found = [_numbers(best, total)]
    for _ in range(draws):
        moved = fitted + rng.normal(0, spread, fitted.shape)
        along = float(np.linalg.norm(np.diff(moved, axis=0), axis=1).sum())
        found.append(_numbers(_fit(moved, best)[0], along))
    values = np.array(found)
    stretch = 1 + np.append(0.0, rng.normal(0, scale.error / scale.value, draws))
    values[:, 2:] *= stretch[:, None]
    source = Source(Origin.MEASURED, f"radiograph, {scale.how}")
    by_schneider, by_pruett, radius, begins, length = (
        _interval(values[:, i], unit, source) for i, unit in enumerate(("deg", "deg", "mm", "mm", "mm"))
    )
    return FilmCurve(by_schneider, by_pruett, radius, begins, length, misfit, straight=by_pruett.value < 3.0)


def _fit(points: Array, near: Array | None = None) -> tuple[Array, Array]:
    """Best line-arc-line (x, y, heading, first straight part, arc length, turn) and its points; `near` is a first guess."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    total = float(along[-1])

    def gap(p: Array) -> Array:
        return (_walk(p, along, total) - points).ravel()

    low, high = _bounds(total)
    tries = _guesses(points, total) if near is None else [np.clip(near, low, high)]
    best = min((least_squares(gap, t, bounds=(low, high), max_nfev=60) for t in tries), key=lambda f: float(f.cost))
    return best.x, _walk(best.x, along, total)


def _guesses(points: Array, total: float) -> list[Array]:
    head, tail = points[1] - points[0], points[-1] - points[-2]
    heading = float(np.arctan2(head[1], head[0]))
    turn = (float(np.arctan2(tail[1], tail[0])) - heading + np.pi) % (2 * np.pi) - np.pi
    parts = ((0.3, 0.5), (0.5, 0.4), (0.1, 0.8))
    return [np.array([*points[0], heading, a * total, b * total, turn]) for a, b in parts]


def _bounds(total: float) -> tuple[list[float], list[float]]:
    wide = 1e6
    return [-wide, -wide, -10.0, 0.0, 0.02 * total, -3.1], [wide, wide, 10.0, 0.95 * total, 1.5 * total, 3.1]


def _walk(p: Array, along: Array, total: float) -> Array:
    """Points of the line-arc-line at distances `along` (n,), shape (n, 2)."""
    x, y, heading, straight, arc, turn = p
    arc = min(arc, max(total - straight, 1e-6))
    curvature = turn / arc
    inside = np.clip(along - straight, 0.0, arc)
    after = np.clip(along - straight - arc, 0.0, None)
    half = curvature * inside / 2
    chord = inside * np.sinc(half / np.pi)
    before = np.minimum(along, straight)
    end = heading + turn
    px = x + before * np.cos(heading) + chord * np.cos(heading + half) + after * np.cos(end)
    py = y + before * np.sin(heading) + chord * np.sin(heading + half) + after * np.sin(end)
    # A curve drawn through chords is a little longer than they are; the difference is within the marks' error.
    return np.column_stack([px, py])


def _numbers(p: Array, total: float) -> tuple[float, float, float, float, float]:
    """Schneider, Pruett [degrees]; radius, distance of the start from the foramen, length, in the unit of the points."""
    _, _, _, straight, arc, turn = p
    arc = min(arc, max(total - straight, 1e-6))
    rest, bend = max(total - straight - arc, 0.0), abs(turn)
    chord = arc * np.sinc(bend / 2 / np.pi)
    across = chord * np.sin(bend / 2) + rest * np.sin(bend)
    ahead = chord * np.cos(bend / 2) + rest * np.cos(bend)
    radius = arc / bend if bend > 1e-3 else np.inf
    return float(np.degrees(np.arctan2(across, ahead))), float(np.degrees(bend)), float(radius), total - straight, total


def _interval(values: Array, unit: str, source: Source) -> Quantity:
    value = float(values[0])
    drawn = values[1:] if len(values) > 1 else values
    low, high = (float(np.quantile(drawn, q, method="nearest")) for q in (0.05, 0.95))
    return Quantity(value, min(low, value), max(high, value), unit, source)


def _angle(first: Array, second: Array) -> float:
    one, two = float(np.linalg.norm(first)), float(np.linalg.norm(second))
    if min(one, two) < 1e-9:
        raise ScanError("two marks fall on one point: mark them apart")
    cross = first[0] * second[1] - first[1] * second[0]
    return float(np.degrees(np.arctan2(abs(cross), float(first @ second))))
