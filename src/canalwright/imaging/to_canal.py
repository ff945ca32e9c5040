"""From a found canal to the `Canal` that the models work on: reference point, length, levels, errors.

The reference point is where the rubber stop rests. When nobody names it, it is the highest point of
the crown, along the direction from the roots to the crown, within 3 mm of the canal's line carried
straight on from its orifice. Length = centreline from terminus to orifice + straight from there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canalwright.anatomy import averages
from canalwright.anatomy.canal import Canal
from canalwright.anatomy.lumen import Doubt
from canalwright.anatomy.tooth import Tooth
from canalwright.imaging.errors import SurfaceError
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.mesh.crown import cej_plane
from canalwright.imaging.mesh.surfaces import Surface
from canalwright.imaging.sides import side_walls
from canalwright.instruments import File
from canalwright.quantities import Origin, Reading, Shape, Source

Array = NDArray[np.float64]

ABOUT = 3.0
"""How far from the canal's line the reference point is looked for, mm."""
CROWN_LEAST, CROWN_MOST = 0.5, 16.0
"""Plausible distances from orifice to reference point, mm."""
STOP_ERROR = 0.25
"""Standard deviation of a stop against a reference point, mm (common practice: read to half a millimetre)."""
CURVE_ERROR = 0.03
"""Share of the curvature that smoothing the centreline may take or add (see docs/models/surfaces.md)."""
LOOK = "look at the canal in the mesh before you lean on its widths there"
LINE = 30
"""Stations below the orifice whose chord is the canal's coronal line: 3 mm."""


@dataclass(frozen=True)
class Reference:
    """A reference point (3,), how far above the orifice it lies, and how it was found."""

    point: Array
    above: float
    how: str


def reference_point(found: FoundCanal, crown: Surface, point: ArrayLike | None = None) -> Reference:
    """The reference point on the crown surface (enamel; dentine where there is no enamel), or the one given.

    Raises SurfaceError when it lies less than 0.5 mm or more than 16 mm from the orifice.
    """
    if point is not None:
        at, how = np.asarray(point, dtype=float), "point given"
    else:
        away = crown.vertices - found.orifice
        line = _line(found)
        along = away @ line
        beside = np.linalg.norm(away - along[:, None] * line, axis=1)
        near = (beside <= ABOUT) & (along > 0)
        if not near.any():
            near = np.ones(len(away), dtype=bool)
        height = np.where(near, away @ found.crown, -np.inf)
        at, how = crown.vertices[int(np.argmax(height))], f"highest point of {crown.file} near the canal's line"
    above = float(np.linalg.norm(at - found.orifice))
    if not CROWN_LEAST <= above <= CROWN_MOST:
        raise SurfaceError(
            f"{crown.file}: reference point {np.round(at, 2).tolist()} lies {above:.1f} mm from the orifice of "
            f"{found.name}; allowed: {CROWN_LEAST:g} to {CROWN_MOST:.0f} mm; give a point on the crown"
        )
    return Reference(at, above, how)


def to_canal(
    found: FoundCanal,
    *,
    tooth: Tooth | int,
    file: File,
    crown: Surface | None = None,
    enamel: Surface | None = None,
    reference: ArrayLike | None = None,
    crown_length: float | None = None,
    reference_name: str = "cusp tip",
    name: str | None = None,
    end: float = 0.5,
    crest: float | None = None,
    post: bool = False,
    others: Sequence[FoundCanal] = (),
    mesial: ArrayLike | None = None,
    buccal: ArrayLike | None = None,
) -> Canal:
    """The `Canal` of a found one, with the finishing `file` to be taken to z = `end` (mm from the terminus).

    The reference point comes from `reference` (a point), else the enamel, else `crown` (the dentine
    mesh: its top stands in for the enamel, and the source says so), unless `crown_length` (mm from
    orifice to reference) is given. CEJ without enamel, and `crest` when not given, are the averages of the tooth,
    and marked so. The wall by side is taken along where the root's surface was measured: towards the
    furcation with the tooth's `others`, on all sides with a direction `mesial` or `buccal`.

    Raises SurfaceError without any reference, or for an `end` outside the canal.
    """
    tooth = Tooth(tooth) if isinstance(tooth, int) else tooth
    if not 0 <= end < found.length:
        raise SurfaceError(
            f"{found.source}: preparation end {end} mm; allowed: 0 to {found.length:.1f} mm from the terminus"
        )
    surface = enamel if enamel is not None else crown
    if crown_length is not None:
        above, how = float(crown_length), "distance from orifice to reference as given"
    elif surface is not None:
        at = reference_point(found, surface, reference)
        above, how = at.above, at.how + ("" if enamel is not None else " (no enamel mesh)")
    else:
        raise SurfaceError(
            f"{found.source}: no reference point; give the enamel or dentine mesh, or the distance to the orifice"
        )
    width = float(np.median(found.width_error))
    scan = Source(Origin.SCAN, found.source)
    length_source = Source(Origin.SCAN, f"{found.source}; {how}")
    length_error = float(np.hypot(STOP_ERROR, max(found.width_error[0] / 2, found.length_error)))
    errors = {
        "length": Reading(found.length + above, length_error, "mm", length_source),
        "width": Reading(0.0, width, "mm", scan),
        "wall": Reading(0.0, float(np.median(found.wall_error)), "mm", scan),
        "curve": Reading(1.0, CURVE_ERROR, "", scan, least=0.0),
        "file": Reading(0.0, file.tolerance, "mm", Source(Origin.STANDARD, "ISO 3630-1 tolerance"), Shape.UNIFORM),
    }
    given = Source(Origin.MEASURED, "as given")
    sources = {
        **dict.fromkeys(("profile", "widths", "ovality", "wall_mm", "curve", "orifice_depth_mm"), scan),
        "working_length_mm": length_source,
        "finishing_file": given,
    }
    known, below = averages.tooth_averages(tooth), averages.every("crest_below_cej")
    cej, sources["cej_level_mm"] = _cej(found, enamel), Source(Origin.SCAN, "lower border of the enamel mesh")
    if cej is None:
        cej = errors["length"].value * known.root.value / known.length
        sources["cej_level_mm"] = known.root.source
    sources["crest_level_mm"] = given if crest is not None else below.source
    crest = crest if crest is not None else cej - below.value
    return Canal(
        tooth=tooth,
        name=name or found.name,
        native=found.lumen,
        length=errors["length"],
        end=end,
        file=file,
        reference=reference_name,
        orifice=float(found.lumen.z[-1]),
        crest=crest,
        cej=cej,
        post=post,
        foramen=found.foramen,
        errors=errors,
        sources=sources,
        sides=side_walls(found, tooth, mesial=mesial, buccal=buccal, others=others),
        notes=tuple(Doubt("profile", reason, LOOK) for reason in found.quality.reasons),
    )


def _cej(found: FoundCanal, enamel: Surface | None) -> float | None:
    """z at which the canal, carried straight on above its orifice, crosses the CEJ plane."""
    if enamel is None:
        return None
    plane = cej_plane(enamel, found.crown)
    height = (found.lumen.centre - plane.point) @ plane.normal
    over = np.nonzero(height > 0)[0]
    if len(over):
        return float(found.lumen.z[over[0]])
    rise = float(_line(found) @ plane.normal)
    return float(found.lumen.z[-1] - height[-1] / rise) if rise > 0.2 else None


def _line(found: FoundCanal) -> Array:
    """Unit direction of the canal's coronal line, towards the crown."""
    line = found.lumen.centre[-1] - found.lumen.centre[max(0, found.lumen.size - 1 - LINE)]
    return np.asarray(line / np.linalg.norm(line))
