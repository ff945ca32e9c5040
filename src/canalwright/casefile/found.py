"""A case from canals that were found in a scan or in surface meshes."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from canalwright.anatomy import SideWall, Tooth, averages
from canalwright.casefile.case import Case, from_table
from canalwright.casefile.corrections import tables_of
from canalwright.imaging.corrections import Correction
from canalwright.imaging.found import FoundCanal, FoundPortal

PLACES = 4
LEAST_WIDTH = 0.02
MOST_BRANCHES = 40


def from_found(
    canals: Sequence[FoundCanal],
    *,
    tooth: Tooth | int,
    label: str,
    finishing_file: tuple[int, float] | Mapping[str, tuple[int, float]],
    above_orifice: float | Mapping[str, float] | None = None,
    cej_level: float | Mapping[str, float] | None = None,
    end: float = 0.5,
    method: str = "surface meshes",
    reference: str = "cusp tip",
    post: Sequence[str] = (),
    note: str = "",
    invented: bool = False,
    corrections: Sequence[Correction] = (),
    wall_sides: Mapping[str, Sequence[SideWall]] | None = None,
) -> Case:
    """The case of the found canals.

    `finishing_file` is size and taper, the same for all or by canal name; `above_orifice` [mm] the distance from the
    reference point to the orifice, measured on the surfaces, the same for all or by name; left out, it is the average
    crown (with the depth of the pulp chamber) of this tooth and the length is marked so. `cej_level` [mm]: where the
    cemento-enamel junction was seen, from the terminus. `end` [mm]: how far from the terminus the preparation ends.
    `post` names the canals that take a post. `corrections`: those that shaped the canals; they are kept with their
    authors. `wall_sides`: the wall by side that was measured, by canal name.

    Raises CaseError when the result is no possible case, KeyError when a
    mapping lacks a canal.
    """
    tooth = tooth if isinstance(tooth, Tooth) else Tooth(tooth)
    known = averages.tooth_averages(tooth)
    usual = known.crown.value + known.floor_below_cej.value
    tables = []
    for canal in canals:
        above = _of(above_orifice, canal.name) if above_orifice is not None else usual
        length = round(canal.length + above, 2)
        how = method if above_orifice is not None else "published average"
        size, taper = _of(finishing_file, canal.name)
        table: dict[str, Any] = {
            "name": canal.name,
            "reference": reference,
            "working_length_mm": {"value": round(length - end, 2), "method": how},
            "length_mm": {"value": length, "method": how},
            "finishing_file": {"size": size, "taper": float(taper)},
            "foramen_mm": {"value": round(max(canal.foramen, 0.05), PLACES), "method": method},
            "profile": _profile(canal, method),
        }
        if cej_level is not None:
            table["cej_level_mm"] = {"value": round(_of(cej_level, canal.name), 2), "method": method}
        if wall_sides and wall_sides.get(canal.name):
            table["wall_side"] = [_side(wall) for wall in wall_sides[canal.name]]
        if canal.name in post:
            table["post"] = {"wanted": True}
        if canal.portals:
            table["side_branch"] = [_branch(portal, method) for portal in canal.portals[:MOST_BRANCHES]]
        if canal.join is not None and canal.joined:
            table["joins"] = {"canal": canal.joined, "level_mm": round(float(canal.join), 2)}
        tables.append(table)
    about = {"version": 1, "label": label, "note": note, "invented": invented}
    whole: dict[str, Any] = {"case": about, "tooth": {"number": tooth.code}, "canal": tables}
    if corrections:
        whole["correction"] = tables_of(corrections)
    return from_table(whole, "the canals found")


def _branch(portal: FoundPortal, method: str) -> dict[str, Any]:
    """The table of a side branch; its numbers kept within what the file takes."""
    width = {
        "value": round(float(np.clip(portal.diameter, 0.01, 1.5)), PLACES),
        "method": method,
        "error": round(float(portal.diameter_error), PLACES),
    }
    return {
        "level_mm": round(max(float(portal.z), 0.0), 2),
        "diameter_mm": width,
        "direction": portal.side,
        "kind": portal.kind,
        "length_mm": round(float(np.clip(portal.length, 0.01, 6.0)), 2),
    }


def _side(wall: SideWall) -> dict[str, Any]:
    return {"side": wall.side, "by_level": [list(row) for row in zip(wall.levels, wall.values, strict=True)]}


def _of(value: Any, name: str) -> Any:
    return value[name] if isinstance(value, Mapping) else value


def _profile(canal: FoundCanal, method: str) -> dict[str, Any]:
    """The profile table of a found canal; a wall that was not found is left out, or filled between its neighbours."""
    lumen = canal.lumen
    z = lumen.z - lumen.z[0]
    remarks = [*canal.quality.reasons, *canal.notes]
    if canal.corrected_by:
        remarks.append(f"corrected by {', '.join(canal.corrected_by)}")
    minor = np.maximum(lumen.minor, LEAST_WIDTH)
    if (minor > lumen.minor).any():
        remarks.append(
            f"{int((minor > lumen.minor).sum())} stations narrower than {LEAST_WIDTH} mm are written as that"
        )
    wall, seen = lumen.wall, np.isfinite(lumen.wall)
    if seen.any() and not seen.all():
        wall = np.interp(z, z[seen], wall[seen])
        remarks.append(f"no wall found at {int((~seen).sum())} of {len(z)} stations: filled from their neighbours")
    table: dict[str, Any] = {
        "method": method,
        "z_mm": _list(z),
        "minor_mm": _list(minor),
        "major_mm": _list(np.maximum(lumen.major, minor)),
        "area_mm2": _list(np.maximum(lumen.area, np.pi / 4 * LEAST_WIDTH**2)),
        "centre_mm": _list(lumen.centre),
        "axis": _list(lumen.axis),
        "width_error_mm": _errors(canal.width_error),
        "wall_error_mm": _errors(canal.wall_error),
        "remarks": [str(remark)[:400] for remark in remarks[:40]],
    }
    if seen.any():
        table["wall_mm"] = _list(np.maximum(wall, 0.0))
    return {key: value for key, value in table.items() if value is not None}


def _errors(error: np.ndarray[Any, np.dtype[np.float64]]) -> list[Any] | None:
    """By station, the greatest known one where it is not known; None where none is."""
    known = error[np.isfinite(error)]
    if not len(known):
        return None
    return _list(np.clip(np.where(np.isfinite(error), error, known.max()), 0.0, 2.0))


def _list(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[Any]:
    rounded: list[Any] = np.round(np.asarray(values, dtype=float), PLACES).tolist()
    return rounded
