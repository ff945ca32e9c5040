"""Native widths and wall by level, from a gauge, single widths, a taper, an orifice width and averages.

Least width: at the end of the preparation that of the apical gauge; above it, in this order of preference, the
measured widths, the measured taper, the average widths of the canal (never narrower than the gauge: a gauge says
nothing of the canal above it); at the orifice the measured or average width. Below the end the canal opens to its
foramen. Linear between levels. Greatest width: measured, or least width times a measured ovality, or the
average ratio; where the gauge alone widened the least width, the greatest stays what it was.
What it leaves out: sections that are not ellipses, isthmuses, widenings between the levels given.
"""

from dataclasses import dataclass, replace

import numpy as np

from canalwright.anatomy import averages
from canalwright.anatomy.averages import CanalAverages
from canalwright.anatomy.limits import Fault, MeasurementError
from canalwright.anatomy.lumen import Array
from canalwright.anatomy.measurements import Measured, Measurements
from canalwright.anatomy.provenance import error_of, source_of
from canalwright.anatomy.sides import least
from canalwright.quantities import Reading, Source


@dataclass(frozen=True)
class Doubtful:
    """The reading of an offset [mm], and the share of it that holds at each station, shape (n,)."""

    reading: Reading
    weight: Array

    @classmethod
    def of(cls, errors: Array, source: Source) -> "Doubtful":
        """From standard deviations by station: the reading has the greatest."""
        most = float(np.max(errors))
        return cls(Reading(0.0, most, "mm", source), errors / most if most > 0 else np.ones_like(errors))


def native_widths(
    m: Measurements, known: CanalAverages, z: Array, end: float
) -> tuple[Array, Array, Doubtful, dict[str, Source]]:
    """Least and greatest width at stations `z` (n,), what is in doubt of them, and their sources."""
    sources: dict[str, Source] = {}
    top = float(z[-1])
    usual = float(known.minor(np.array([end]))[0])
    if m.apical_gauge is not None:
        tip, sources["apical_gauge"] = m.apical_gauge.value / 100, source_of(_gauged(m.apical_gauge), "width")
    else:
        lowest = m.widths[0][1] if m.widths else np.inf
        tip, sources["apical_gauge"] = min(usual, lowest), known.minor.source
    if m.orifice_width is not None:
        mouth, sources["orifice_width_mm"] = m.orifice_width.value, source_of(m.orifice_width, "width")
    else:
        mouth, sources["orifice_width_mm"] = max(known.orifice_minor.value, tip), known.orifice_minor.source
    if mouth < tip:
        fault = Fault(
            "orifice_width",
            f"{mouth:g}",
            f"at least the apical gauge, {tip:g} mm",
            "check both: a canal widens coronally",
        )
        raise MeasurementError((fault,))

    minor, base, source = _least(m, known, z, (end, tip), (top, mouth), usual)
    sources["widths"] = source
    major, sources["ovality"] = _greatest(m, known, z, minor, base, end, top)
    foramen = averages.every("foramen")
    if m.foramen is not None:
        opening, sources["foramen_mm"] = m.foramen.value, source_of(m.foramen, "width")
    else:
        opening, sources["foramen_mm"] = max(foramen.value, tip), foramen.source
    if end > 0:
        below = z < end
        ratio = np.interp(end, z, major) / np.interp(end, z, minor)
        minor[below] = np.interp(z[below], (0.0, end), (opening, tip))
        major[below] = minor[below] * ratio
    doubtful = Doubtful.of(_width_errors(m, known, z, end), source)
    return minor, np.maximum(major, minor), doubtful, sources


def _least(
    m: Measurements, known: CanalAverages, z: Array, tip: tuple[float, float], mouth: tuple[float, float], usual: float
) -> tuple[Array, Array, Source]:
    """Least width, the same without what the gauge added, and the source of what lies between end and orifice."""
    end, top = tip[0], mouth[0]
    if m.widths:
        rows = [(level, minor) for level, minor, _ in m.widths if end < level < top]
        knots = np.array([tip, *rows, mouth])
        minor = np.interp(z, knots[:, 0], knots[:, 1])
        return minor, minor, source_of(Measured(0.0, m.widths_method, m.widths_error), "width")
    if m.natural_taper is not None:
        minor = np.minimum(tip[1] + m.natural_taper.value * np.maximum(z - end, 0), mouth[1])
        minor[-1] = mouth[1]
        base = minor - max(tip[1] - usual, 0.0)
        return minor, base, source_of(m.natural_taper, "width")
    levels = [level for level in known.minor.level if end < level < 0.85 * top]
    average = np.minimum(known.minor(np.array(levels)), mouth[1]) if levels else np.empty(0)
    knots = np.array([(end, usual), *zip(levels, average, strict=True), mouth])
    base = np.interp(z, knots[:, 0], knots[:, 1])
    minor = np.maximum(base, tip[1])
    near = (z >= end) & (z <= end + 1)  # a gauge below the average narrows the last millimetre only
    if tip[1] < usual:
        minor[near] = np.interp(z[near], (end, end + 1), (tip[1], np.interp(end + 1, z, minor)))
    return minor, base, known.minor.source


def _width_errors(m: Measurements, known: CanalAverages, z: Array, end: float) -> Array:
    """Standard deviation of the least width by station: of gauge and orifice where they were taken, linear to that between.

    A gauge holds for 1 mm, the width of the orifice for 2 mm.
    """
    top, spread = float(z[-1]), known.minor.spread
    if m.widths:
        between = error_of(Measured(0.0, m.widths_method, m.widths_error), "width")
    elif m.natural_taper is not None:
        between = error_of(Measured(0.0, m.natural_taper.method), "width")
    else:
        between = spread
    tip = error_of(_gauged(m.apical_gauge), "width") if m.apical_gauge else between
    mouth = error_of(m.orifice_width, "width") if m.orifice_width else known.orifice_minor.spread
    knots = [(end, tip), (end + 1, between), (max(top - 2, end + 1.1), between), (max(top, end + 1.2), mouth)]
    if end > 0:
        opening = error_of(m.foramen, "width") if m.foramen else averages.every("foramen").spread
        knots.insert(0, (0.0, opening))
    errors = np.interp(z, *np.array(knots).T)
    if m.natural_taper is not None and m.natural_taper.error and not m.widths:
        errors = np.hypot(errors, m.natural_taper.error * np.maximum(z - end, 0))
    return np.asarray(errors)


def _gauged(gauge: Measured) -> Measured:
    """A gauge is read with gauging files unless something else is said; its error is in mm, not in sizes."""
    return gauge if gauge.method else replace(gauge, method="gauging file")


def _greatest(
    m: Measurements, known: CanalAverages, z: Array, minor: Array, base: Array, end: float, top: float
) -> tuple[Array, Source]:
    rows = [(level, major) for level, _, major in m.widths if major is not None and end <= level < top]
    if m.ovality is not None and not rows:
        return minor * m.ovality.value, source_of(m.ovality, "width")
    levels = np.array([level for level in known.major.level if level < 0.85 * top] + [top])
    ratios = known.major(levels) / known.minor(levels)
    ratios[-1] = known.orifice_major.value / known.orifice_minor.value
    if rows:
        at = np.array([row[0] for row in rows])
        measured = np.array([row[1] for row in rows]) / np.interp(at, z, minor)
        mouth = m.ovality.value if m.ovality else ratios[-1]
        ratio = np.interp(z, [*at, top], [*measured, mouth])
        return minor * ratio, source_of(Measured(0.0, m.widths_method, m.widths_error), "width")
    return np.maximum(minor, base * np.interp(z, levels, ratios)), known.major.source


def wall_by_level(m: Measurements, known: CanalAverages, z: Array) -> tuple[Array, Doubtful, Source]:
    """Least dentine at stations `z` (n,), what is in doubt of it, and the source.

    Linear between measured levels; beyond them the average, scaled to meet the nearest measured one, its error
    growing to that of the average over 2 mm.
    """
    average = known.wall(z)
    rows = m.walls or (least(m.side_walls) if m.side_walls else ())
    if not rows:
        return average, Doubtful.of(np.full(len(z), known.wall.spread), known.wall.source), known.wall.source
    levels, values = (np.array(column) for column in zip(*rows, strict=True))
    wall = np.interp(z, levels, values)
    for beyond, i in ((z < levels[0], 0), (z > levels[-1], -1)):
        wall[beyond] = average[beyond] * values[i] / float(known.wall(levels[i]))
    given = Measured(0.0, m.walls_method, m.walls_error)
    source, error = source_of(given, "wall"), error_of(given, "wall")
    beyond_by = np.maximum(levels[0] - z, 0) + np.maximum(z - levels[-1], 0)
    errors = error + np.minimum(beyond_by / 2, 1) * max(known.wall.spread - error, 0)
    return wall, Doubtful.of(errors, source), source
