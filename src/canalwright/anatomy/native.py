"""Native widths and wall by level, from a gauge, single widths, a taper, an orifice width and averages.

Least width: at the end of the preparation that of the apical gauge; above it, in this order of preference, the
measured widths, the measured taper, the average widths of the canal (never narrower than the gauge: a gauge says
nothing of the canal above it); at the orifice the measured or average width. Below the end the canal opens to its
foramen. Linear between levels. Greatest width: measured, or least width times a measured ovality, or the
average ratio; where the gauge alone widened the least width, the greatest stays what it was.
What it leaves out: sections that are not ellipses, isthmuses, widenings between the levels given.
"""

import numpy as np

from canalwright.anatomy import averages
from canalwright.anatomy.averages import CanalAverages
from canalwright.anatomy.canal import Array
from canalwright.anatomy.limits import Fault, MeasurementError
from canalwright.anatomy.measurements import Measured, Measurements
from canalwright.anatomy.provenance import error_of, source_of
from canalwright.quantities import Reading, Source


def native_widths(
    m: Measurements, known: CanalAverages, z: Array, end: float
) -> tuple[Array, Array, Reading, dict[str, Source]]:
    """Least and greatest width at stations `z` (n,), the reading of their common offset, and their sources."""
    sources: dict[str, Source] = {}
    top = float(z[-1])
    usual = float(known.minor(np.array([end]))[0])
    if m.apical_gauge is not None:
        tip, sources["apical_gauge"] = m.apical_gauge.value / 100, source_of(m.apical_gauge, "width")
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

    minor, base, width = _least(m, known, z, (end, tip), (top, mouth), usual)
    sources["widths"] = width.source
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
    return minor, np.maximum(major, minor), width, sources


def _least(
    m: Measurements, known: CanalAverages, z: Array, tip: tuple[float, float], mouth: tuple[float, float], usual: float
) -> tuple[Array, Array, Reading]:
    """Least width, the same without what the gauge added, and the reading of the offset."""
    end, top = tip[0], mouth[0]
    if m.widths:
        rows = [(level, minor) for level, minor, _ in m.widths if end < level < top]
        knots = np.array([tip, *rows, mouth])
        minor = np.interp(z, knots[:, 0], knots[:, 1])
        given = Measured(0.0, m.widths_method, m.widths_error)
        return minor, minor, Reading(0.0, error_of(given, "width"), "mm", source_of(given, "width"))
    if m.natural_taper is not None:
        minor = np.minimum(tip[1] + m.natural_taper.value * np.maximum(z - end, 0), mouth[1])
        minor[-1] = mouth[1]
        base = minor - max(tip[1] - usual, 0.0)
        source = source_of(m.natural_taper, "width")
        return minor, base, Reading(0.0, error_of(Measured(0.0, m.natural_taper.method), "width"), "mm", source)
    levels = [level for level in known.minor.level if end < level < 0.85 * top]
    average = np.minimum(known.minor(np.array(levels)), mouth[1]) if levels else np.empty(0)
    knots = np.array([(end, usual), *zip(levels, average, strict=True), mouth])
    base = np.interp(z, knots[:, 0], knots[:, 1])
    minor = np.maximum(base, tip[1])
    near = (z >= end) & (z <= end + 1)  # a gauge below the average narrows the last millimetre only
    if tip[1] < usual:
        minor[near] = np.interp(z[near], (end, end + 1), (tip[1], np.interp(end + 1, z, minor)))
    return minor, base, Reading(0.0, known.minor.spread, "mm", known.minor.source)


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


def wall_by_level(m: Measurements, known: CanalAverages, z: Array) -> tuple[Array, Reading, Source]:
    """Least dentine at stations `z` (n,), the reading of its offset, and the source.

    Linear between measured levels; beyond them the average, scaled to meet the nearest measured one.
    """
    average = known.wall(z)
    if not m.walls:
        return average, Reading(0.0, known.wall.spread, "mm", known.wall.source), known.wall.source
    levels, values = (np.array(column) for column in zip(*m.walls, strict=True))
    wall = np.interp(z, levels, values)
    for beyond, i in ((z < levels[0], 0), (z > levels[-1], -1)):
        wall[beyond] = average[beyond] * values[i] / float(known.wall(levels[i]))
    given = Measured(0.0, m.walls_method, m.walls_error)
    source = source_of(given, "wall")
    return wall, Reading(0.0, error_of(given, "wall"), "mm", source), source
