"""A canal from what was measured of it, every gap filled from the averages of its tooth and marked so."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeAlias, TypeVar

import numpy as np

from canalwright.anatomy import averages
from canalwright.anatomy.centreline import across, centreline
from canalwright.anatomy.check import faults
from canalwright.anatomy.curves import resolve
from canalwright.anatomy.doubts import doubts
from canalwright.anatomy.limits import Fault, MeasurementError
from canalwright.anatomy.lumen import STEP, Array, Lumen, Portal
from canalwright.anatomy.measurements import Measured, Measurements
from canalwright.anatomy.native import Doubtful, native_widths, wall_by_level
from canalwright.anatomy.provenance import error_of, source_of
from canalwright.quantities import Origin, Reading, Shape, Source

C = TypeVar("C")


def from_measurements(make: Callable[..., C], m: Measurements) -> C:
    """The canal, made by `make` from the fields of a `Canal`, with stations every 0.1 mm from the terminus to its orifice.

    The pulp chamber above the orifice is left out. Raises MeasurementError, with every fault found, when
    the measurements describe no possible canal.
    """
    found = faults(m)
    if found:
        raise MeasurementError(found)
    name, known = averages.canal_name(m.tooth, m.canal)
    frame = _frame(m)
    native, width, wall, curve, sources = _read(m, name) if m.native is not None else _built(m, name, frame)
    errors = {
        "length": frame.length,
        "width": width.reading,
        "wall": wall.reading,
        "curve": curve,
        "file": Reading(0.0, m.file.tolerance, "mm", Source(Origin.STANDARD, "ISO 3630-1 tolerance"), Shape.UNIFORM),
    }
    return make(
        tooth=m.tooth,
        name=name,
        native=native,
        length=frame.length,
        end=frame.end,
        file=m.file,
        reference=m.reference,
        orifice=float(native.z[-1]),
        crest=frame.crest,
        cej=frame.cej,
        post=m.post,
        foramen=m.foramen.value if m.foramen is not None else float(native.minor[0]),
        portals=_portals(m),
        errors=errors,
        sources={**frame.sources, **sources, "finishing_file": Source(Origin.MEASURED, "as given")},
        weights={"width": width.weight, "wall": wall.weight},
        notes=doubts(m, name, known, frame.length.value),
        sides=m.side_walls,
    )


_Parts: TypeAlias = tuple[Lumen, Doubtful, Doubtful, Reading, dict[str, Source]]


@dataclass(frozen=True)
class _Frame:
    """Levels along the canal that everything else hangs on, mm from the terminus."""

    length: Reading
    end: float
    cej: float
    orifice: float
    crest: float
    sources: Mapping[str, Source] = field(default_factory=dict)


def _frame(m: Measurements) -> _Frame:
    """Where terminus, orifice, cemento-enamel junction and bone crest lie."""
    known = averages.tooth_averages(m.tooth)
    sources: dict[str, Source] = {"working_length_mm": source_of(m.working_length, "length")}
    given, usual = error_of(m.working_length, "length"), averages.every("end")
    if m.length is not None:
        end, spread, sources["length_mm"] = (
            max(m.length.value - m.working_length.value, 0.0),
            0.0,
            source_of(m.length, "length"),
        )
        given = min(given, error_of(m.length, "length"))
    elif m.end is not None:
        end, spread, sources["end_mm"] = (
            m.end.value,
            error_of(m.end, "length") if m.end.error else 0.0,
            source_of(m.end, "length"),
        )
    else:
        end, spread, sources["end_mm"] = usual.value, usual.spread, usual.source
    value = m.working_length.value + end
    length = Reading(value, float(np.hypot(given, spread)), "mm", sources["working_length_mm"])
    if m.cej is not None:
        cej, sources["cej_level_mm"] = m.cej.value, source_of(m.cej, "length")
    else:
        cej, sources["cej_level_mm"] = value * known.root.value / known.length, known.root.source
    if m.native is not None:
        orifice = float(m.native.z[-1])
    elif m.orifice_depth is not None:
        orifice, sources["orifice_depth_mm"] = value - m.orifice_depth.value, source_of(m.orifice_depth, "length")
    else:
        orifice, sources["orifice_depth_mm"] = cej - known.floor_below_cej.value, known.floor_below_cej.source
    below = averages.every("crest_below_cej")
    if m.crest is not None:
        crest, sources["crest_level_mm"] = m.crest.value, source_of(m.crest, "length")
    else:
        crest, sources["crest_level_mm"] = cej - below.value, below.source
    late = [
        Fault(key, f"{level:g} mm from the terminus", f"{low:g} to {value:g} mm", "check it against the working length")
        for key, level, low in (("cej", cej, 2.0), ("orifice_depth", orifice, max(3.0, end + 1)), ("crest", crest, 0.0))
        if not low <= level < value
    ]
    if late:
        raise MeasurementError(tuple(late))
    return _Frame(length, end, cej, round(orifice / STEP) * STEP, crest, sources)


def _built(m: Measurements, name: str, frame: _Frame) -> _Parts:
    """Native lumen from single measurements, with what is in doubt of width, wall and curve, and their sources."""
    z = stations(frame.orifice)
    known = averages.canal_averages(m.tooth, name)
    minor, major, width, sources = native_widths(m, known, z, frame.end)
    wall, wall_doubt, sources["wall_mm"] = wall_by_level(m, known, z)
    arcs, curve, sources["curve"] = resolve(m.curves, known, frame.orifice)
    centre, tangents = centreline(z, arcs)
    native = Lumen(z, minor, major, centre, across(tangents, m.widest), wall, np.pi / 4 * minor * major)
    return native, width, wall_doubt, curve, sources


def _read(m: Measurements, name: str) -> _Parts:
    """Native lumen as read from a scan or from meshes, laid on the usual stations; a wall not found is the average."""
    assert m.native is not None
    method = m.native_method
    native = resampled(m.native)
    source = source_of(Measured(0.0, method), "width")
    sources = dict.fromkeys(("profile", "widths", "ovality", "wall_mm", "curve", "orifice_depth_mm"), source)
    known = averages.canal_averages(m.tooth, name)
    unseen = ~np.isfinite(native.wall)
    supposed, supposed_doubt, wall_source = wall_by_level(m, known, native.z)
    native = replace(native, wall=np.where(unseen, supposed, native.wall))
    read = m.native.z - m.native.z[0]
    width, thick = (
        np.interp(
            native.z, read, np.broadcast_to(averages.reading_error(q, method).value if e is None else e, read.shape)
        )
        for q, e in (("width", m.native_width_error), ("wall", m.native_wall_error))
    )
    thick = np.where(unseen, supposed_doubt.reading.error * supposed_doubt.weight, thick)
    sources["wall_mm"] = wall_source if unseen.mean() > 0.5 else source
    bend = Reading(1.0, averages.reading_error("curve", method).value, "", source, least=0.0, most=2.0)
    return native, Doubtful.of(width, source), Doubtful.of(thick, sources["wall_mm"]), bend, sources


def _portals(m: Measurements) -> tuple[Portal, ...]:
    usual = averages.every("branch_diameter")
    portals = []
    for branch in m.branches:
        if branch.diameter is None:
            diameter = Reading(usual.value, 0.5, "mm", usual.source, Shape.LOGNORMAL)
        else:
            share = error_of(branch.diameter, "width") / branch.diameter.value
            source = source_of(branch.diameter, "width")
            diameter = Reading(branch.diameter.value, min(share, 0.7), "mm", source, Shape.LOGNORMAL)
        portals.append(Portal(branch.level, diameter, branch.kind, branch.direction, branch.length, diameter.source))
    return tuple(portals)


def stations(top: float) -> Array:
    """Stations from the terminus to `top` [mm], every 0.1 mm."""
    return np.asarray(np.arange(round(top / STEP) + 1) * STEP)


def resampled(lumen: Lumen) -> Lumen:
    """The lumen on stations every 0.1 mm from its first (moved to 0) to its last, linear between those it has."""
    z = lumen.z - lumen.z[0]
    new = stations(np.floor(z[-1] / STEP + 1e-6) * STEP)

    def lay(values: Array) -> Array:
        if values.ndim == 1:
            return np.interp(new, z, values)
        return np.column_stack([np.interp(new, z, column) for column in values.T])

    axis = lay(lumen.axis)
    axis = axis / np.maximum(np.linalg.norm(axis, axis=1, keepdims=True), 1e-12)
    return Lumen(new, lay(lumen.minor), lay(lumen.major), lay(lumen.centre), axis, lay(lumen.wall), lay(lumen.area))
