"""A smooth centreline in space, by arc length, and the ways the trade measures its curve.

Smoothing: a quintic B-spline f minimises, over the chord length t of the points,

    integral |p - f|^2 dt + (wavelength / 2 pi)^6 integral |f'''|^2 dt

(penalised spline, Eilers & Marx 1996, Stat Sci 11:89-121). A ripple of that wavelength is halved,
longer ones pass; straight lines and, nearly, circular arcs are kept to the very ends. Curvature and
torsion are those of the spline (Frenet), not differences of points.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]
STEP = 0.1
WAVELENGTH = 3.0
DEGREE = 5
KNOT_SPACING = 0.5
DEPARTURE = 3.0
"""Degrees by which a line must leave a straight direction to count as having left it."""
LASTING = 0.5
"""For how many millimetres it must stay away."""


@dataclass(frozen=True)
class Centreline:
    """Points every `step` of arc length from the first point on; lengths mm, curvature and torsion 1/mm.

    `s` shape (n,); `points`, `tangent` (unit, towards growing s), `normal` and `binormal` (the
    rotation-minimising frame, not Frenet's) shape (n, 3); `length` is the exact arc length, up to
    one step more than `s[-1]`.
    """

    s: Array
    points: Array
    tangent: Array
    normal: Array
    binormal: Array
    curvature: Array
    torsion: Array
    length: float

    @property
    def turned(self) -> float:
        """Total turn of the tangent in space, degrees: the integral of the curvature."""
        return float(np.degrees(np.sum((self.curvature[1:] + self.curvature[:-1]) / 2 * np.diff(self.s))))

    def upto(self, length: float) -> "Centreline":
        """The part from the first point to arc length `length` (whole when longer)."""
        n = int(np.searchsorted(self.s, length + 1e-9, side="right"))
        return Centreline(
            self.s[:n], self.points[:n], self.tangent[:n], self.normal[:n], self.binormal[:n],
            self.curvature[:n], self.torsion[:n], min(self.length, length),
        )  # fmt: skip

    def to_plane(self, i: int, points: Array) -> Array:
        """Coordinates (m, 2) of points (m, 3) in the cross plane of station `i` (normal, binormal)."""
        away = np.asarray(points) - self.points[i]
        return np.column_stack([away @ self.normal[i], away @ self.binormal[i]])

    def from_plane(self, i: int, flat: Array) -> Array:
        """Points (m, 3) in space of plane coordinates (m, 2) at station `i`."""
        return np.asarray(self.points[i] + np.asarray(flat) @ np.stack([self.normal[i], self.binormal[i]]))


def smooth(
    points: Array, *, wavelength: float = WAVELENGTH, step: float = STEP, weights: Array | None = None
) -> Centreline:
    """The smooth centreline through ordered `points` (m, 3), m >= 4, first point at s = 0.

    `weights` (m,) multiply the trust in each point (1 = plain); a weight of 1e3 or more pins it.
    Raises ValueError for fewer than four distinct points or points that are not finite.
    """
    points = np.asarray(points, dtype=float)
    if points.ndim != 2 or points.shape[1] != 3 or not np.isfinite(points).all():
        raise ValueError(f"a centreline needs finite points of shape (m, 3), not {points.shape}")
    weight = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=float)
    chord = np.linalg.norm(np.diff(points, axis=0), axis=1)
    keep = np.concatenate([[True], chord > 1e-9])
    points, weight = points[keep], weight[keep]
    if len(points) < 4:
        raise ValueError(f"a centreline needs at least 4 distinct points, not {len(points)}")
    t = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    spline = _penalised(t, points, weight, wavelength)
    return _by_arc_length(spline, t[-1], step)


def _penalised(t: Array, points: Array, weight: Array, wavelength: float) -> BSpline:
    """The penalised least-squares spline of the module's docstring."""
    spans = max(4, int(np.ceil(t[-1] / KNOT_SPACING)))
    inner = np.linspace(0.0, t[-1], spans + 1)
    knots = np.concatenate([[0.0] * DEGREE, inner, [t[-1]] * DEGREE])
    basis = BSpline(knots, np.eye(len(knots) - DEGREE - 1), DEGREE)
    design = basis(np.clip(t, 0.0, t[-1]))
    share = weight * np.gradient(t)
    nodes, gauss = np.polynomial.legendre.leggauss(4)
    half = np.diff(inner)[:, None] / 2
    where = (inner[:-1, None] + half + half * nodes).ravel()
    third = basis(where, 3)
    penalty = third.T @ ((half * gauss).ravel()[:, None] * third)
    lhs = design.T @ (share[:, None] * design) + (wavelength / (2 * np.pi)) ** 6 * penalty
    middle = points.mean(axis=0)
    return BSpline(knots, middle + np.linalg.solve(lhs, design.T @ (share[:, None] * (points - middle))), DEGREE)


def _by_arc_length(spline: BSpline, end: float, step: float) -> Centreline:
    fine = np.linspace(0.0, end, max(200, int(np.ceil(end / step * 50))) + 1)
    speed = np.linalg.norm(spline(fine, 1), axis=1)
    arc = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(fine))])
    s = step * np.arange(np.floor(arc[-1] / step + 1e-6) + 1, dtype=np.float64)
    at = np.interp(s, arc, fine)
    first, second, third = (np.asarray(spline(at, order), dtype=np.float64) for order in (1, 2, 3))
    rate = np.linalg.norm(first, axis=1)
    cross = np.cross(first, second)
    bend = np.linalg.norm(cross, axis=1)
    curvature = bend / rate**3
    torsion = np.where(curvature > 1e-3, np.einsum("ij,ij->i", cross, third) / np.maximum(bend, 1e-12) ** 2, 0.0)
    tangent = first / rate[:, None]
    points = np.asarray(spline(at))
    normal = minimal_rotation(points, tangent)
    return Centreline(s, points, tangent, normal, np.cross(tangent, normal), curvature, torsion, float(arc[-1]))


def minimal_rotation(points: Array, tangent: Array) -> Array:
    """Normals (n, 3) that turn about the line as little as can be, for points and unit tangents (n, 3).

    Double reflection (Wang, Juttler, Zheng & Liu 2008, ACM Trans Graph 27:2). The first normal is the
    axis direction least parallel to the first tangent, made perpendicular.
    """
    normal = np.empty_like(tangent)
    first = np.eye(3)[int(np.argmin(np.abs(tangent[0])))]
    first = first - (first @ tangent[0]) * tangent[0]
    normal[0] = first / np.linalg.norm(first)
    for i in range(len(points) - 1):
        mirror = points[i + 1] - points[i]
        size = mirror @ mirror
        turned = normal[i] - 2 / size * (mirror @ normal[i]) * mirror
        carried = tangent[i] - 2 / size * (mirror @ tangent[i]) * mirror
        second = tangent[i + 1] - carried
        length = second @ second
        if length > 1e-24:
            turned = turned - 2 / length * (second @ turned) * second
        turned = turned - (turned @ tangent[i + 1]) * tangent[i + 1]
        normal[i + 1] = turned / np.linalg.norm(turned)
    return normal


def project(points: Array, view: Array) -> Array:
    """Points (n, 3) as seen along `view` (3,): plane coordinates (n, 2), mm, no magnification."""
    view = np.asarray(view, dtype=float) / np.linalg.norm(view)
    across = np.eye(3)[int(np.argmin(np.abs(view)))]
    across = across - (across @ view) * view
    across /= np.linalg.norm(across)
    return np.column_stack([np.asarray(points) @ across, np.asarray(points) @ np.cross(view, across)])


def schneider(line: Array) -> float:
    """Schneider's angle of a flat or spatial line (n, d) given from the terminus up, degrees.

    Between the canal's coronal direction and the line from the point where the canal leaves that
    direction to the foramen (Schneider 1971, Oral Surg 32:271-275). An arc that ends at the foramen
    gives half its central angle. For the angle on a film, give `project(points, view)`.
    """
    crown, _ = _ends(line)
    steps, direction = _departure(line, crown)
    start = line[len(line) - 1 - steps]
    chord = line[0] - start
    return _angle(direction, chord) if np.linalg.norm(chord) > 1e-9 else 0.0


def pruett(line: Array) -> tuple[float, float]:
    """Angle (degrees) and radius (mm) of the curve between the two straight ends of `line` (n, d).

    Pruett, Clement & Carnes 1997, J Endod 23:77: the arc that touches the coronal and the apical
    straight line. The radius is that of the arc between the two points where the canal has left those
    directions by 3 degrees each: chord / (2 sin((angle - 6) / 2)); infinite for an angle under 6 and where
    nothing lies between the two.
    """
    crown, apex = _ends(line)
    first, down = _departure(line, crown)
    last, up = _departure(line[::-1], apex)
    start, stop = line[len(line) - 1 - first], line[last]
    angle = _angle(down, -up)
    between = angle - 2 * DEPARTURE
    if between <= 0 or first + last >= len(line) - 1:
        return angle, float("inf")
    return angle, float(np.linalg.norm(start - stop) / (2 * np.sin(np.radians(between) / 2)))


def _ends(line: Array) -> tuple[float, float]:
    """Lengths that give the coronal and the apical direction: 2 mm and 1 mm, at most a quarter of all."""
    length = float(np.sum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    return min(2.0, length / 4), min(1.0, length / 4)


def _departure(line: Array, reach: float) -> tuple[int, Array]:
    """How many steps from its last point the line leaves the direction of its last `reach` mm; and that direction."""
    steps = np.diff(line, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    down = -steps[::-1]
    travelled = np.cumsum(lengths[::-1])
    direction = line[len(line) - 1 - int(np.searchsorted(travelled, reach)) - 1] - line[-1]
    cosine = (down @ direction) / (lengths[::-1] * np.linalg.norm(direction))
    off = np.degrees(np.arccos(np.clip(cosine, -1, 1))) > DEPARTURE
    return _first_lasting(off, travelled), direction / np.linalg.norm(direction)


def _first_lasting(off: NDArray[np.bool_], travelled: Array) -> int:
    """First step from which on the line stays `off` for `LASTING` mm (or to its end); the number of steps if there is none.

    Where the end itself bends, its first steps lie off the direction of its chord: they do not count. A curve
    that turns out of the view's plane may take up its first direction again further on: that is no straight part.
    """
    if off.all():
        return 0
    changes = np.nonzero(np.diff(off.astype(int), prepend=0, append=0))[0]
    for first, after in zip(changes[::2], changes[1::2], strict=True):
        lasting = after == len(off) or travelled[after - 1] - travelled[first - 1] >= LASTING
        if first and lasting:
            return int(first)
    return len(off)


def _angle(a: Array, b: Array) -> float:
    return float(np.degrees(np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1))))
