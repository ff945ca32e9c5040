"""What is told of a found canal: course, sections, volume, wall in all directions; every number with its interval.

Curvature and torsion are those of a smooth line through the centreline (ripples shorter than `CURVE` and `TWIST` mm
halved), their intervals from redrawing the centreline with its own error. Angles on a film are those of the line's
projection. Leaves out: the error of what the smoothing takes away from a sharp bend.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d

from canalwright.imaging.centreline import Centreline, project, pruett, schneider, smooth
from canalwright.imaging.found import NINETY, FoundCanal
from canalwright.imaging.vertucci import roots
from canalwright.quantities import Origin, Quantity, Source

Array = NDArray[np.float64]
CURVE, TWIST = 3.0, 6.0
DRAWS = 32
CORRELATED = 0.5
"""Length over which errors of centre and width go together, mm (the spacing of the fit's knots)."""
HALF = 0.5**0.5
"""Share of a section's error (half of its variance) taken to be the same everywhere where nothing is known of it."""
STRAIGHT = 0.02
"""Curvature under which a line has no torsion to speak of, 1/mm."""
READING = 0.3
"""Standard deviation of an angle of a given line for where its straight ends are taken to stop, degrees: what redrawing the line
does not show. Chosen on phantoms (seeds 1000 to 1059). People who read the same film differ by 2 to 5 (Schneider 1971 and
later): that is not in it."""

RADIUS = 0.75
"""What the spread of a radius among redrawn lines is multiplied by: a line that holds its error is redrawn with that error once more,
and the reading of a radius, where straight ends are sought, answers to it more than in proportion. Chosen on phantoms (seeds 1000 to
1061)."""


@dataclass(frozen=True)
class Course:
    """Curvature and torsion (1/mm) by station, NaN torsion where the line is straight, with standard deviations (n,)."""

    z: Array
    curvature: Array
    curvature_error: Array
    torsion: Array
    torsion_error: Array


@dataclass(frozen=True)
class View:
    """The curve as seen along one direction: Schneider's angle, Pruett's angle (degrees) and radius (mm)."""

    name: str
    schneider: Quantity
    angle: Quantity
    radius: Quantity


@dataclass(frozen=True)
class Thinnest:
    """The least dentine of a canal: how thick, at which station, in which direction (3,), and towards what in words."""

    thickness: Quantity
    z: float
    direction: Array
    towards: str


@dataclass(frozen=True)
class Measures:
    """All of it. `views` are named by the side that is looked at: 'buccolingual view' shows mesial and distal bends."""

    length: Quantity
    course: Course
    views: tuple[View, ...]
    volume: Quantity
    surface: Quantity
    thinnest: Thinnest | None
    distances: Mapping[str, Quantity]


def measures(
    canal: FoundCanal,
    *,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
    others: Sequence[FoundCanal] = (),
    structures: Mapping[str, ArrayLike] | None = None,
    structure_error: float = 0.2,
) -> Measures:
    """Measure a found canal.

    `mesial`, `buccal`: directions in the scan, for views and words; without them the views are along and across the
    plane of the greatest bend. `others`: the tooth's other canals, to tell the furcation's side. `structures`: points
    (m, 3) LPS marked on nearby structures by name, each with `structure_error` (mm, one standard deviation).
    """
    source = Source(Origin.SCAN, canal.source)
    lines = [smooth(line, wavelength=CURVE) for line in _redrawn(canal)]
    return Measures(
        length=_normal(canal.length, canal.length_error, "mm", source, least=0.0),
        course=course(canal, lines),
        views=_views(canal, lines, mesial, buccal, source),
        volume=_summed(canal, canal.lumen.area, _area_error(canal), "mm3", source),
        surface=_summed(canal, _perimeter(canal), _perimeter_error(canal), "mm2", source),
        thinnest=thinnest(canal, mesial=mesial, buccal=buccal, others=others),
        distances={
            name: _distance(canal, np.asarray(points, float).reshape(-1, 3), structure_error, source)
            for name, points in (structures or {}).items()
        },
    )


def course(canal: FoundCanal, lines: Sequence[Centreline] | None = None) -> Course:
    """Curvature and torsion along the canal with their errors; `lines`: smooth lines through its redrawn points."""
    lines = [smooth(line, wavelength=CURVE) for line in _redrawn(canal)] if lines is None else lines
    z = canal.lumen.z
    bend, twist = smooth(canal.lumen.centre, wavelength=CURVE), smooth(canal.lumen.centre, wavelength=TWIST)
    bends = np.array([_on(line, "curvature", z) for line in lines])
    twists = np.array([_on(smooth(line.points, wavelength=TWIST), "torsion", z) for line in lines])
    curvature, torsion = _on(bend, "curvature", z), _on(twist, "torsion", z)
    curvature_error = np.sqrt(np.mean((bends - curvature) ** 2, axis=0))
    spread = (np.quantile(twists, 0.95, axis=0) - np.quantile(twists, 0.05, axis=0)) / (2 * NINETY)
    bare = _on(twist, "curvature", z) < max(STRAIGHT, 2 * float(np.median(curvature_error)))
    return Course(z, curvature, curvature_error, np.where(bare, np.nan, torsion), np.where(bare, np.nan, spread))


def thinnest(
    canal: FoundCanal,
    *,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
    others: Sequence[FoundCanal] = (),
    above: float = 1.0,
) -> Thinnest | None:
    """The least wall more than `above` mm from the terminus; None where no wall is known there."""
    lumen = canal.lumen
    known = np.where((lumen.z > above) & np.isfinite(lumen.wall), lumen.wall, np.inf)
    i = int(np.argmin(known))
    if not np.isfinite(known[i]):
        return None
    way = canal.wall_direction[i]
    value = _normal(
        float(lumen.wall[i]), float(canal.wall_error[i]), "mm", Source(Origin.SCAN, canal.source), least=0.0
    )
    return Thinnest(value, float(lumen.z[i]), way, towards(canal, i, way, mesial=mesial, buccal=buccal, others=others))


def towards(
    canal: FoundCanal,
    i: int,
    way: Array,
    *,
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
    others: Sequence[FoundCanal] = (),
) -> str:
    """What a direction at station `i` points to: 'furcation' where another root faces it, else a side; '' when unknown."""
    place = canal.lumen.centre[i]
    mine = next((r for r in roots([canal, *others]) if any(c is canal for c in r)), [canal])
    for other in others:
        if any(other is c for c in mine):
            continue
        there = other.lumen.centre[int(np.argmin(np.linalg.norm(other.lumen.centre - place, axis=1)))] - place
        if way @ there > np.cos(np.radians(45)) * np.linalg.norm(there):
            return "furcation"
    if mesial is None and buccal is None:
        return ""
    words = []
    for given, one, two in ((mesial, "mesial", "distal"), (buccal, "buccal", "lingual")):
        if given is None:
            continue
        axis = np.asarray(given, float) - (np.asarray(given, float) @ canal.crown) * canal.crown
        share = float(way @ axis) / max(float(np.linalg.norm(axis)), 1e-9)
        if abs(share) > np.sin(np.radians(22.5)):
            words.append(one if share > 0 else two)
    return f"{words[0][:-2]}o{words[1]}" if len(words) == 2 else "".join(words)


def _views(
    canal: FoundCanal, lines: Sequence[Centreline], mesial: ArrayLike | None, buccal: ArrayLike | None, source: Source
) -> tuple[View, ...]:
    if mesial is None and buccal is None:
        chord = canal.lumen.centre - canal.lumen.centre.mean(0)
        _, _, axes = np.linalg.svd(chord, full_matrices=False)
        looks = {
            "view across the plane of the greatest bend": axes[2],
            "view along the plane of the greatest bend": axes[1],
        }
    else:
        one = np.asarray(mesial, float) if mesial is not None else np.cross(np.asarray(buccal, float), canal.crown)
        two = np.asarray(buccal, float) if buccal is not None else np.cross(one, canal.crown)
        looks = {"buccolingual view": two, "mesiodistal view": one}
    return tuple(_view(name, look, canal, lines, source) for name, look in looks.items())


def _view(name: str, look: Array, canal: FoundCanal, lines: Sequence[Centreline], source: Source) -> View:
    def read(line: Centreline) -> tuple[float, float, float]:
        flat = project(line.points, look)
        angle, radius = pruett(flat)
        return schneider(flat), angle, radius

    value = read(smooth(canal.lumen.centre, wavelength=CURVE))
    draws = np.array([read(line) for line in lines])
    angles = [
        _normal(value[k], float(np.hypot(np.std(draws[:, k] - value[k]), READING)), "deg", source, least=0.0)
        for k in (0, 1)
    ]
    bends = np.array([1 / r if r > 0 else 0.0 for r in (value[2], *draws[:, 2])])
    bend = float(bends[0])
    doubt = RADIUS * float(np.hypot(np.std(bends[1:]), bend * READING * np.sqrt(2) / max(value[1] - 6.0, 1.0)))
    low, high = bend - NINETY * doubt, bend + NINETY * doubt
    radius = Quantity(value[2], 1 / high if high > 0 else value[2], 1 / low if low > 0 else float("inf"), "mm", source)
    return View(name, angles[0], angles[1], radius)


def _redrawn(canal: FoundCanal) -> list[Array]:
    """The centreline redrawn `DRAWS` times with its own error, correlated along it; (n, 3) each."""
    error = canal.centre_error if canal.centre_error is not None else canal.width_error / 2
    rng = np.random.default_rng(7)
    step = float(np.mean(np.diff(canal.lumen.z)))
    width = max(CORRELATED / step, 0.5)
    lines = []
    for _ in range(DRAWS):
        noise = gaussian_filter1d(rng.standard_normal((canal.lumen.size, 3)), width, axis=0, mode="reflect")
        noise *= np.sqrt(2 * np.sqrt(np.pi) * width)
        lines.append(canal.lumen.centre + error[:, None] * noise)
    return lines


def _on(line: Centreline, key: str, z: Array) -> Array:
    values = getattr(line, key)
    return np.asarray(np.interp(z / max(z[-1], 1e-9) * line.s[-1], line.s, values))


def _area_error(canal: FoundCanal) -> Array:
    if canal.area_error is not None:
        return canal.area_error
    return np.asarray(np.pi / 2 * canal.lumen.major * canal.width_error)


def _perimeter(canal: FoundCanal) -> Array:
    """Perimeter of the ellipse (Ramanujan 1914), mm."""
    a, b = canal.lumen.major / 2, canal.lumen.minor / 2
    h = ((a - b) / (a + b)) ** 2
    return np.asarray(np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h))))


def _perimeter_error(canal: FoundCanal) -> Array:
    """Of the perimeter, mm: like the area it goes with the mean width, of which it has half the share."""
    return np.asarray(_perimeter(canal) * _area_error(canal) / (2 * canal.lumen.area))


def _summed(canal: FoundCanal, values: Array, error: Array, unit: str, source: Source) -> Quantity:
    """The integral along the canal, with what lies between the last station and the orifice; of the error a share goes together
    everywhere (`HALF` where the canal does not say which), the rest over `CORRELATED` mm.
    """
    z = canal.lumen.z
    total = float(np.trapezoid(values, z)) + float(values[-1]) * max(canal.length - float(z[-1]), 0.0)
    share = np.full(len(z), HALF) if canal.together is None else canal.together
    common = float(np.trapezoid(error * share, z))
    apart = float(np.sqrt(np.trapezoid((1 - share**2) * error**2, z) * 2 * np.sqrt(np.pi) * CORRELATED))
    ends = float(values[0]) * canal.length_error
    return _normal(total, float(np.sqrt(common**2 + apart**2 + ends**2)), unit, source, least=0.0)


def _distance(canal: FoundCanal, points: Array, error: float, source: Source) -> Quantity:
    """Least distance from the terminus to a marked structure: to its points, and to the lines between them in order."""
    ways = np.diff(points, axis=0)
    size = np.maximum(np.einsum("ij,ij->i", ways, ways), 1e-18)
    share = np.clip(np.einsum("ij,ij->i", canal.terminus - points[:-1], ways) / size, 0, 1)
    feet = np.vstack([points, points[:-1] + share[:, None] * ways])
    away = float(np.linalg.norm(feet - canal.terminus, axis=1).min())
    doubt = float(np.hypot(error, max(canal.length_error, canal.width_error[0] / 2)))
    return _normal(away, doubt, "mm", source, least=0.0)


def _normal(value: float, error: float, unit: str, source: Source, *, least: float | None = None) -> Quantity:
    low, high = value - NINETY * error, value + NINETY * error
    return Quantity(value, low if least is None else min(max(low, least), value), high, unit, source)
