"""Every value of the measurements against what is possible; all faults at once."""

import math
from collections.abc import Iterator
from itertools import pairwise

from canalwright.anatomy import averages
from canalwright.anatomy.centreline import DIRECTIONS
from canalwright.anatomy.limits import Fault, out_of_limits, shown
from canalwright.anatomy.measurements import Curve, Measured, Measurements
from canalwright.anatomy.sides import SIDES
from canalwright.instruments import iso3630

_SINGLE = {
    "working_length": "length", "length": "length", "end": "length", "orifice_depth": "length", "crest": "length",
    "cej": "length", "apical_gauge": "width", "orifice_width": "width", "natural_taper": "width", "ovality": "width",
    "foramen": "width",
}  # fmt: skip


def faults(m: Measurements) -> tuple[Fault, ...]:
    """What cannot be in these measurements, in the order of the fields; empty when a canal can be built."""
    return tuple(dict.fromkeys(_all(m)))


def _all(m: Measurements) -> Iterator[Fault]:
    if not m.canal.strip() or len(m.canal) > 60:
        yield Fault("canal", shown(repr(m.canal)), "1 to 60 characters", "name the canal, such as 'mesiobuccal'")
    for key, quantity in _SINGLE.items():
        value = getattr(m, key)
        if value is not None:
            yield from _measured(key, value, quantity)
    if m.apical_gauge is not None and 6 <= m.apical_gauge.value <= 140 and m.apical_gauge.value not in iso3630.SIZES:
        near = sorted(sorted(iso3630.SIZES, key=lambda s: abs(s - m.apical_gauge.value))[:2])  # type: ignore[union-attr]
        allowed = "sizes of ISO 3630-1"
        yield Fault(
            "apical_gauge",
            shown(m.apical_gauge.value),
            allowed,
            f"the nearest sizes are {near[0]:02d} and {near[1]:02d}",
        )
    yield from _lengths(m)
    yield from _file(m)
    yield from _widths(m)
    for number, curve in enumerate(m.curves):
        yield from _curve("curve" if number == 0 else "curve.second", curve)
    yield from _tables(m)
    yield from _branches(m)
    if m.widest not in ("buccolingual", "mesiodistal"):
        yield Fault(
            "widest", repr(m.widest), "'buccolingual' or 'mesiodistal'", "say in which direction the canal is widest"
        )


def _lengths(m: Measurements) -> Iterator[Fault]:
    wl = m.working_length.value
    if out_of_limits("working_length", wl):
        return
    if m.orifice_depth is not None and m.orifice_depth.value >= wl:
        allowed = f"more than the orifice depth, {m.orifice_depth.value:g} mm"
        yield Fault(
            "working_length", shown(wl), allowed, "the terminus cannot lie coronal to the orifice: check which is which"
        )
    if m.length is not None:
        gap = m.length.value - wl
        if not -1e-9 <= gap <= 3:
            allowed = f"{wl:g} to {wl + 3:g} mm (working length to 3 mm more)"
            action = "the preparation ends at or short of the terminus: check both"
            yield Fault("length", shown(m.length.value), allowed, action)
        elif m.end is not None and abs(gap - m.end.value) > 0.05:
            allowed = f"{gap:.2f} mm (length less working length)"
            yield Fault(
                "end", shown(m.end.value), allowed, "give two of length, working length and end; the third follows"
            )


def _file(m: Measurements) -> Iterator[Fault]:
    for at, diameter in zip(m.file.profile.at, m.file.profile.diameter, strict=True):
        fault = out_of_limits("finishing_file", diameter, limit="file_diameter")
        if fault:
            yield fault
        if at > 32:
            yield Fault(
                "finishing_file", shown(at), "0 to 32 mm from the tip", "give diameters within the length of the file"
            )


def _widths(m: Measurements) -> Iterator[Fault]:
    for level, minor, major in m.widths:
        for value, limit in ((level, "level"), (minor, "width"), (major, "width")):
            fault = None if value is None else out_of_limits("widths", value, limit=limit)
            if fault:
                yield fault
        if major is not None and major < minor:
            allowed = f"at least the least width, {minor:g} mm"
            yield Fault(
                "widths", shown(major), allowed, f"at level {level:g}: put the least width first, the greatest second"
            )
    yield from _ascending("widths", [row[0] for row in m.widths])
    yield from _method("widths", m.widths_method, m.widths_error, "width")


def _tables(m: Measurements) -> Iterator[Fault]:
    for level, value in m.walls:
        for number, limit in ((level, "level"), (value, "wall")):
            fault = out_of_limits("wall", number, limit=limit)
            if fault:
                yield fault
    yield from _ascending("wall", [row[0] for row in m.walls])
    yield from _method("wall", m.walls_method, m.walls_error, "wall")
    for i, one in enumerate(m.side_walls):
        key = f"wall_side[{i}]"
        if one.side not in SIDES:
            yield Fault(f"{key}.side", repr(one.side), ", ".join(SIDES), "name a side of the tooth")
        for level, value in zip(one.levels, one.values, strict=True):
            for number, limit in ((level, "level"), (value, "wall")):
                fault = out_of_limits(f"{key}.by_level", number, limit=limit)
                if fault:
                    yield fault
        yield from _ascending(f"{key}.by_level", list(one.levels))
    named = [one.side for one in m.side_walls]
    if len(set(named)) < len(named):
        yield Fault("wall_side", ", ".join(named), "each side once", "put all levels of a side into one table")


def _branches(m: Measurements) -> Iterator[Fault]:
    top = m.working_length.value
    for i, branch in enumerate(m.branches):
        key, level = f"side_branch[{i}]", branch.level
        fault = out_of_limits(f"{key}.level", level, limit="level")
        if fault:
            yield fault
        elif level >= top and not out_of_limits("working_length", top):
            yield Fault(f"{key}.level", shown(level), f"0 to {top:g} mm", "give the distance from the terminus")
        if branch.diameter is not None:
            yield from _measured(f"{key}.diameter", branch.diameter, "width", "branch_diameter")
        length = branch.length
        if length is not None and not 0 < length <= 6:
            yield Fault(f"{key}.length", shown(length), "0 to 6 mm", "give its length from canal to root surface")


def _curve(key: str, curve: Curve) -> Iterator[Fault]:
    yield from _measured(f"{key}.angle", curve.angle, "curve", "angle")
    if curve.radius is not None:
        yield from _measured(f"{key}.radius", curve.radius, "curve", "radius")
    if curve.start is not None:
        yield from _measured(f"{key}.start", curve.start, "length", "start")
    if curve.towards not in DIRECTIONS:
        yield Fault(
            f"{key}.towards", repr(curve.towards), ", ".join(DIRECTIONS), "say where the tip of the canal points"
        )
    if curve.measure not in ("schneider", "weine", "pruett"):
        yield Fault(
            f"{key}.measure", repr(curve.measure), "schneider, weine or pruett", "say how the angle was measured"
        )


def _measured(key: str, value: Measured, quantity: str, limit: str | None = None) -> Iterator[Fault]:
    fault = out_of_limits(key, value.value, limit=limit)
    if fault:
        yield fault
    yield from _method(key, value.method, value.error, quantity)


def _method(key: str, method: str, error: float | None, quantity: str) -> Iterator[Fault]:
    known = averages.methods(quantity)
    if method and method not in known:
        yield Fault(f"{key}.method", shown(repr(method)), ", ".join(known), "name one of these, or leave it out")
    if error is not None and not (math.isfinite(error) and 0 <= error <= 20):
        yield Fault(f"{key}.error", shown(error), "0 to 20", "give one standard deviation, in the unit of the value")


def _ascending(key: str, levels: list[float]) -> Iterator[Fault]:
    if any(b <= a for a, b in pairwise(levels)):
        yield Fault(
            key, shown(levels), "levels that increase, each given once", "sort the rows from the terminus coronally"
        )
