"""Reading a tray file."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from canalwright.anatomy import MeasurementError
from canalwright.anatomy.measurements import iso_file
from canalwright.casefile import toml
from canalwright.casefile.convert import profile_of
from canalwright.casefile.problems import CaseError, Problem, from_pydantic
from canalwright.casefile.tray_model import NeedleTable, PointTable, TrayModel
from canalwright.instruments import (
    Carrier,
    Cone,
    File,
    Needle,
    PaperPoint,
    Plugger,
    Profile,
    Sealer,
    Tray,
    iso3630,
    iso9626,
)


def load_tray(path: str | Path) -> Tray:
    """Read a tray file. Raises CaseError with everything that is wrong in it, one line each."""
    path = Path(path)
    return tray_from_table(toml.read(path), path.name)


def loads_tray(text: str, name: str = "tray") -> Tray:
    """Read a tray from TOML text; `name` stands for the file in errors."""
    return tray_from_table(toml.parse(text, name), name)


def check_tray(path: str | Path) -> list[Problem]:
    """Everything wrong in a tray file; empty when it can be used."""
    try:
        load_tray(path)
    except CaseError as error:
        return list(error.problems)
    return []


def generic_tray() -> Tray:
    """The tray that comes with the package: ISO sizes, no maker's series."""
    text = files("canalwright.casefile").joinpath("generic_tray.toml").read_text(encoding="utf-8")
    return loads_tray(text, "generic_tray.toml")


def tray_from_table(table: dict[str, Any], name: str = "tray") -> Tray:
    """A tray from the tables of its file. Raises CaseError."""
    try:
        model = TrayModel.model_validate(table)
    except ValidationError as error:
        raise CaseError(from_pydantic(name, error, _schema())) from None
    problems: list[Problem] = []
    points: dict[str, list[tuple[str, Profile, int | None, PointTable]]] = {"cone": [], "paper_point": []}
    for kind, found in points.items():
        for i, entry in enumerate(getattr(model, kind)):
            try:
                found.extend(_points(f"{kind}[{i}]", entry))
            except CaseError as error:
                problems += [Problem(name, p.key, p.value, p.allowed, p.action) for p in error.problems]
    finishing: list[File] = []
    for i, file in enumerate(model.file):
        try:
            finishing += [
                replace(iso_file(size, file.taper), alloy=file.alloy, uses=file.uses, most_uses=file.most_uses)
                for size in file.sizes
            ]
        except MeasurementError as error:
            problems += [Problem(name, f"file[{i}].sizes", f.value, f.allowed, f.action) for f in error.faults]
    needles: list[Needle] = []
    for i, needle in enumerate(model.needle):
        try:
            needles.append(_needle(needle))
        except ValueError as error:
            problems.append(Problem(name, f"needle[{i}]", f"{needle.gauge} gauge", "", str(error)))
    problems += _shortages(model, name)
    if problems:
        raise CaseError(tuple(problems))
    tray = Tray(
        name=model.tray.name,
        files=tuple(finishing),
        cones=tuple(Cone(n, p, size, e.length_mm, _tolerance(size, p, e)) for n, p, size, e in points["cone"]),
        paper_points=tuple(PaperPoint(n, p, size, e.length_mm) for n, p, size, e in points["paper_point"]),
        pluggers=tuple(
            Plugger(
                t.name,
                Profile.uniform(t.tip_mm, t.taper, t.working_length_mm),
                t.working_length_mm,
                t.kind == "elastic",
                t.strain_limit if t.strain_limit is not None else 0.08,
                t.tolerance_mm if t.tolerance_mm is not None else 0.02,
            )
            for t in model.plugger
        ),
        carriers=tuple(
            Carrier(
                t.name,
                Profile.uniform(t.tip_mm, t.taper, t.working_length_mm),
                t.working_length_mm,
                tuple(t.temperatures_C),
                t.power_W,
                t.heated_length_mm,
                t.sensor_at_mm,
                t.kind == "elastic",
                t.strain_limit if t.strain_limit is not None else 0.05,
                t.tolerance_mm if t.tolerance_mm is not None else 0.03,
            )
            for t in model.carrier
        ),
        needles=tuple(needles),
        sealers=tuple(Sealer(s.name, s.kind, s.film_thickness_mm) for s in model.sealer),
    )
    twins = list(_twins(tray, name))
    if twins:
        raise CaseError(tuple(twins))
    return tray


def _points(where: str, entry: PointTable) -> Iterator[tuple[str, Profile, int | None, PointTable]]:
    """Name, profile and size of the points of one entry; raises CaseError."""
    if entry.diameters_by_mm is not None:
        key = f"{where}.diameters_by_mm"
        if entry.sizes is not None or entry.taper is not None:
            raise CaseError(
                (Problem("", where, "both", "sizes with taper, or diameters_by_mm", "take one of the two out"),)
            )
        bad = [
            row for row in entry.diameters_by_mm if len(row) != 2 or not 0.05 <= row[1] <= 3 or not 0 <= row[0] <= 40
        ]
        if bad:
            allowed = "rows of distance (0 to 40 mm) and diameter (0.05 to 3 mm)"
            raise CaseError((Problem("", key, str(bad[0]), allowed, "mend this row"),))
        try:
            profile = profile_of(key, entry.diameters_by_mm)
        except MeasurementError as error:
            raise CaseError(tuple(Problem("", key, f.value, f.allowed, f.action) for f in error.faults)) from None
        yield entry.name or f"{profile.tip:.2f} mm, by diameters", profile, None, entry
        return
    if entry.sizes is None or entry.taper is None:
        missing = "sizes" if entry.sizes is None else "taper"
        raise CaseError(
            (Problem("", f"{where}.{missing}", "", "sizes with taper, or diameters_by_mm", f"add {missing}"),)
        )
    for size in entry.sizes:
        try:
            file = iso_file(size, entry.taper)
        except MeasurementError as error:
            raise CaseError(
                tuple(Problem("", f"{where}.sizes", f.value, f.allowed, f.action) for f in error.faults)
            ) from None
        name = f"{entry.name} {size:02d}" if entry.name and len(entry.sizes) > 1 else entry.name or file.name
        yield name, Profile.uniform(size / 100, entry.taper, entry.length_mm), size, entry


def _tolerance(size: int | None, profile: Profile, entry: PointTable) -> float:
    if entry.tolerance_mm is not None:
        return entry.tolerance_mm
    return iso3630.point_tolerance(size if size is not None else round(profile.tip * 100))


def _needle(table: NeedleTable) -> Needle:
    """A needle; raises ValueError for a gauge or wall class without figures, or a bore wider than the tube."""
    known = iso9626.tubing(table.gauge) if table.outside_mm is None or table.inside_mm is None else None
    outside = table.outside_mm if table.outside_mm is not None else known.outside  # type: ignore[union-attr]
    inside = table.inside_mm if table.inside_mm is not None else known.bore(table.wall)  # type: ignore[union-attr]
    if inside >= outside:
        raise ValueError(f"the bore ({inside:g} mm) must be narrower than the outside ({outside:g} mm)")
    tolerance = known.tolerance if known and table.outside_mm is None else 0.015
    name = table.name or f"{table.gauge} gauge"
    length = table.working_length_mm
    return Needle(name, table.gauge, outside, inside, length, table.purpose, tolerance, table.opening)


def _shortages(model: TrayModel, file: str) -> Iterator[Problem]:
    """A warm vertical filling needs at least one of each."""
    for kind, what in (
        ("cone", "a cone"),
        ("plugger", "a plugger"),
        ("carrier", "a heat carrier"),
        ("needle", "a needle"),
    ):
        if not getattr(model, kind):
            yield Problem(
                file, kind, "none", f"at least one [[{kind}]]", f"an empty tray cannot be planned with: add {what}"
            )
    if model.needle and not any(n.purpose == "backfill" for n in model.needle):
        yield Problem(
            file, "needle", "no needle for backfill", "at least one", 'add a needle with purpose = "backfill"'
        )


def _twins(tray: Tray, file: str) -> Iterator[Problem]:
    """Two tools of one kind and name: a plan could not say which."""
    for kind in ("files", "cones", "paper_points", "pluggers", "carriers", "needles", "sealers"):
        names = [tool.name for tool in getattr(tray, kind)]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Problem(
                file, kind.removesuffix("s"), repr(name), "names that differ", "name each tool of a kind once"
            )


@cache
def _schema() -> dict[str, Any]:
    return TrayModel.model_json_schema()
