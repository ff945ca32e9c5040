"""From the tables of a case file to measurements."""

from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np

from canalwright.anatomy import Curve, Lumen, Measured, MeasurementError, Measurements, SideBranch, SideWall, Tooth
from canalwright.anatomy.centreline import across
from canalwright.anatomy.check import faults
from canalwright.anatomy.limits import Fault, shown
from canalwright.anatomy.lumen import Array
from canalwright.anatomy.measurements import iso_file
from canalwright.casefile.case_model import CanalTable, CurveTable, FileTable, ProfileTable, ToothTable
from canalwright.casefile.fields import Value
from canalwright.casefile.problems import CaseError, Problem
from canalwright.instruments import File, Profile, iso3630

T = TypeVar("T")


def tooth_of(table: ToothTable, file: str) -> Tooth:
    """The tooth of a case; raises CaseError for a number that names none."""
    try:
        return Tooth(table.number) if table.notation == "iso3950" else Tooth.from_universal(table.number)
    except ValueError:
        allowed = "11 to 18, 21 to 28, 31 to 38, 41 to 48" if table.notation == "iso3950" else "1 to 32"
        action = "give a permanent tooth"
        if table.notation == "iso3950" and 1 <= table.number <= 32:
            tooth = Tooth.from_universal(table.number)
            action = f'if this is the Universal number of {tooth}, add notation = "universal"'
        raise CaseError((Problem(file, "tooth.number", str(table.number), allowed, action),)) from None


def measurements(tooth: Tooth, table: CanalTable) -> Measurements:
    """The measurements of one canal table; raises MeasurementError with everything that is wrong in it."""
    wrong: list[Fault] = []

    def tried(make: Callable[[], T], otherwise: T) -> T:
        try:
            return make()
        except MeasurementError as error:
            wrong.extend(error.faults)
            return otherwise

    widths, walls, profile = table.widths_mm, table.wall_mm, table.profile
    none: Sequence[Sequence[float]] = ()
    width_rows = tried(lambda: _rows("widths", widths.by_level, (2, 3)), none) if widths else none
    wall_rows = tried(lambda: _rows("wall", walls.by_level, (2, 2)), none) if walls else none
    found = Measurements(
        tooth=tooth,
        canal=table.name,
        working_length=_measured(table.working_length_mm),
        file=tried(lambda: finishing_file(table.finishing_file), iso_file(30, 0.04)),
        reference=table.reference,
        end=_maybe(table.end_mm),
        length=_maybe(table.length_mm),
        apical_gauge=_maybe(table.apical_gauge),
        orifice_depth=_maybe(table.orifice_depth_mm),
        orifice_width=_maybe(table.orifice_width_mm),
        natural_taper=_maybe(table.natural_taper),
        ovality=_maybe(table.ovality),
        widest=table.widest,
        widths=tuple((r[0], r[1], r[2] if len(r) > 2 else None) for r in width_rows),
        widths_method=(widths.method or "") if widths else "",
        widths_error=widths.error if widths else None,
        foramen=_maybe(table.foramen_mm),
        curves=_curves(table.curve),
        walls=tuple((r[0], r[1]) for r in wall_rows),
        walls_method=(walls.method or "") if walls else "",
        walls_error=walls.error if walls else None,
        side_walls=tried(lambda: _side_walls(table), ()),
        branches=tuple(
            SideBranch(b.level_mm, _maybe(b.diameter_mm), b.direction, b.kind, b.length_mm) for b in table.side_branch
        ),
        crest=_maybe(table.crest_level_mm),
        cej=_maybe(table.cej_level_mm),
        post=bool(table.post and table.post.wanted),
        native=tried(lambda: lumen(profile), None) if profile else None,
        native_method=profile.method if profile else "cone-beam scan",
        native_width_error=_error(profile.width_error_mm) if profile else None,
        native_wall_error=_error(profile.wall_error_mm) if profile else None,
        joins=(table.joins.canal, table.joins.level_mm) if table.joins else None,
        remarks=tuple(profile.remarks) if profile else (),
    )
    if wrong:
        raise MeasurementError((*wrong, *faults(found)))
    return found


def finishing_file(table: FileTable) -> File:
    """The finishing file; raises MeasurementError."""
    if table.diameters_by_mm is not None:
        if table.size is not None or table.taper is not None:
            action = "give size and taper, or diameters by mm, not both"
            raise MeasurementError((Fault("finishing_file", "both", "one description", action),))
        rows = _rows("finishing_file.diameters_by_mm", table.diameters_by_mm, (2, 2))
        profile = profile_of("finishing_file.diameters_by_mm", rows)
        tolerance = table.tolerance_mm if table.tolerance_mm is not None else iso3630.FILE_TOLERANCE_SMALL
        return File(table.name or f"{profile.tip:.2f} mm, by diameters", profile, None, tolerance)
    if table.size is None or table.taper is None:
        missing = "size" if table.size is None else "taper"
        fault = Fault(f"finishing_file.{missing}", "missing", "size and taper, or diameters_by_mm", f"add {missing}")
        raise MeasurementError((fault,))
    file = iso_file(table.size, table.taper)
    tolerance = table.tolerance_mm if table.tolerance_mm is not None else file.tolerance
    return File(table.name or file.name, file.profile, file.size, tolerance)


def profile_of(key: str, rows: Sequence[Sequence[float]]) -> Profile:
    """A profile from rows of distance from the tip and diameter; raises MeasurementError."""
    try:
        return Profile(tuple(float(r[0]) for r in rows), tuple(float(r[1]) for r in rows))
    except ValueError as error:
        raise MeasurementError(
            (Fault(key, shown(list(map(list, rows))), "rows of distance and diameter", str(error)),)
        ) from None


def lumen(table: ProfileTable) -> Lumen:
    """The native lumen of a profile; a wall that is not there is NaN. Raises MeasurementError."""
    z = np.array(table.z_mm, dtype=float)
    wrong = _profile_faults(table, z)
    if wrong:
        raise MeasurementError(tuple(wrong))
    minor, major = np.array(table.minor_mm, dtype=float), np.array(table.major_mm, dtype=float)
    straight = np.column_stack([np.zeros_like(z), np.zeros_like(z), z])
    centre = straight if table.centre_mm is None else np.array(table.centre_mm, dtype=float)
    if table.axis is None:
        tangents = np.gradient(centre, z, axis=0)
        axis = across(tangents / np.linalg.norm(tangents, axis=1, keepdims=True), "buccolingual")
    else:
        axis = np.array(table.axis, dtype=float)
        axis = axis / np.linalg.norm(axis, axis=1, keepdims=True)
    wall = np.full_like(z, np.nan) if table.wall_mm is None else np.array(table.wall_mm, dtype=float)
    area = np.pi / 4 * minor * major if table.area_mm2 is None else np.array(table.area_mm2, dtype=float)
    return Lumen(z, minor, major, centre, axis, wall, area)


def _profile_faults(table: ProfileTable, z: Array) -> list[Fault]:
    found: list[Fault] = []

    def wrong(key: str, value: object, allowed: str, action: str) -> None:
        found.append(Fault(f"profile.{key}", shown(value), allowed, action))

    if (np.diff(z) <= 0).any() or abs(z[0]) > 1e-6:
        wrong(
            "z_mm",
            f"{z[0]:g} ... {z[-1]:g}",
            "levels that start at 0 and increase",
            "sort the stations from the terminus coronally",
        )
    elif z[-1] > 42 or z[-1] < 3:
        wrong("z_mm", f"{z[-1]:g}", "3 to 42 mm", "check the unit of the levels")
    for key, low, high in (
        ("minor_mm", 0.01, 8.0),
        ("major_mm", 0.01, 12.0),
        ("wall_mm", 0.0, 12.0),
        ("area_mm2", 1e-5, 80.0),
    ):
        values = getattr(table, key)
        if values is None:
            continue
        if len(values) != len(z):
            wrong(key, f"{len(values)} entries", f"{len(z)} entries, as z_mm", "give one entry per level")
        elif min(values) < low or max(values) > high:
            wrong(key, f"{min(values):g} to {max(values):g}", f"{low:g} to {high:g}", "check the unit and the reading")
    if len(table.minor_mm) == len(table.major_mm) and any(
        b < a - 1e-9 for a, b in zip(table.minor_mm, table.major_mm, strict=True)
    ):
        wrong(
            "major_mm",
            "narrower than minor_mm somewhere",
            "at least minor_mm",
            "swap the two lists where they are turned round",
        )
    for key in ("width_error_mm", "wall_error_mm"):
        values = getattr(table, key)
        if isinstance(values, list) and len(values) != len(z):
            wrong(
                key, f"{len(values)} entries", f"one number, or {len(z)} entries, as z_mm", "give one entry per level"
            )
    for key in ("centre_mm", "axis"):
        rows = getattr(table, key)
        if rows is None:
            continue
        if len(rows) != len(z) or any(len(row) != 3 for row in rows):
            wrong(key, f"{len(rows)} rows", f"{len(z)} rows of three numbers", "give x, y, z for each level")
        elif key == "axis" and (np.linalg.norm(np.array(rows, dtype=float), axis=1) < 1e-9).any():
            wrong(key, "a row of zeros", "directions", "give a direction for each level")
        elif key == "centre_mm" and (np.linalg.norm(np.diff(np.array(rows, dtype=float), axis=0), axis=1) < 1e-9).any():
            wrong(key, "one point twice", "points that differ", "give one point per level")
    return found


def _error(given: float | list[float] | None) -> float | Array | None:
    return np.array(given, dtype=float) if isinstance(given, list) else given


def _curves(table: CurveTable | None) -> tuple[Curve, ...]:
    curves: list[Curve] = []
    while table is not None and len(curves) < 4:
        start = _maybe(table.start_mm)
        curves.append(Curve(_measured(table.angle_deg), _maybe(table.radius_mm), start, table.measure, table.towards))
        table = table.second
    return tuple(curves)


def _side_walls(table: CanalTable) -> tuple[SideWall, ...]:
    made = []
    for i, one in enumerate(table.wall_side):
        rows = _rows(f"wall_side[{i}].by_level", one.by_level, (2, 2))
        made.append(SideWall(one.side, tuple(float(r[0]) for r in rows), tuple(float(r[1]) for r in rows)))
    return tuple(made)


def _rows(key: str, rows: Sequence[Sequence[float]], columns: tuple[int, int]) -> Sequence[Sequence[float]]:
    low, high = columns
    for row in rows:
        if not low <= len(row) <= high:
            wanted = f"{low} numbers" if low == high else f"{low} or {high} numbers"
            raise MeasurementError((Fault(key, shown(list(row)), f"rows of {wanted}", "mend this row"),))
    return rows


def _measured(value: Value) -> Measured:
    return Measured(value.value, value.method or "", value.error)


def _maybe(value: Value | None) -> Measured | None:
    return None if value is None else _measured(value)
