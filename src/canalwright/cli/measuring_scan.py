"""The scan's half of measure: from one click, from points or from a mask to canals; files for other programs; what is told."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from canalwright.cli import correcting, output

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canalwright.anatomy import SideWall
    from canalwright.imaging import FoundCanal, FoundTooth, Opened, Scan
    from canalwright.quantities import Quantity

Point = tuple[float, float, float]
AROUND = 12.0
"""How much of a large scan is read about given points, mm."""


@dataclass(frozen=True)
class Asked:
    """What the user gave for a scan."""

    path: Path
    dentine: Path | None
    voxel: float | Point | None
    mask: Path | None
    orifices: list[Point]
    termini: list[Point]
    names: list[str]
    click: Point | None
    series: str | None
    identity: bool
    corrections: Path | None
    tooth: int
    directions: dict[str, Point]


@dataclass(frozen=True)
class Seen:
    """The canals, the part of the scan about them, the scan as it was opened, the tooth where it was found."""

    canals: "tuple[FoundCanal, ...]"
    scan: "Scan"
    opened: "Opened"
    asked: Asked
    tooth: "FoundTooth | None" = None
    extras: dict[str, Any] = field(default_factory=dict)


def measured(asked: Asked) -> Seen:
    """The canals of a scan, by whichever way they were asked for."""
    from canalwright import imaging
    from canalwright.anatomy import Tooth

    if asked.dentine is not None:
        raise imaging.ScanError(f"{asked.dentine.name}: a scan takes no dentine surface; leave the second file out")
    if asked.click is not None and (asked.mask or asked.orifices or asked.termini):
        raise typer.BadParameter("--click: give either one point in the tooth, or orifices and termini, or a mask")
    if len(asked.orifices) != len(asked.termini):
        raise imaging.ScanError(
            f"{asked.path.name}: {len(asked.orifices)} orifices and {len(asked.termini)} termini given; "
            "give --orifice and --terminus once for each canal"
        )
    opened = imaging.open_scan(asked.path, voxel=asked.voxel, series=asked.series, identity=asked.identity)
    tooth = None
    if asked.mask is not None:
        scan, canals = _masked(asked, opened)
    elif asked.orifices:
        scan = opened.around([*asked.orifices, *asked.termini], AROUND)
        called = _names(asked.names, len(asked.orifices))
        ways = zip(asked.orifices, asked.termini, called, strict=True)
        canals = tuple(imaging.trace(scan, o, t, name=n) for o, t, n in ways)
    else:
        tooth = imaging.measure_tooth(opened, asked.click)
        scan, canals = tooth.scan, tooth.canals
        canals = imaging.called(canals, Tooth(asked.tooth), own=asked.names, **asked.directions)
    fine = imaging.fine(scan)
    if fine:
        canals = imaging.portals_of(scan, canals)
    canals, log = correcting.corrected(scan, canals, asked.corrections)
    extras = {"method": "micro-CT" if fine else "cone-beam scan", "corrections": log, "note": opened.about}
    return Seen(canals, scan, opened, asked, tooth, extras)


def _masked(asked: Asked, opened: "Opened") -> "tuple[Scan, tuple[FoundCanal, ...]]":
    import numpy as np

    from canalwright import imaging

    assert asked.mask is not None
    scan, labels = opened.whole(), imaging.read_scan(asked.mask, voxel=asked.voxel)
    present = [int(v) for v in np.unique(labels.voxels) if v > 0]
    each = zip(present, _names(asked.names, len(present)), strict=True)
    return scan, tuple(imaging.trace_mask(labels, v, scan=scan, name=n) for v, n in each)


def _names(names: list[str], count: int) -> list[str]:
    if names and len(names) != count:
        raise typer.BadParameter(f"--name: {len(names)} names for {count} canals; give as many, in order")
    return names or [f"canal {i + 1}" for i in range(count)]


def exported(
    folder: Path, kinds: str, canals: "Sequence[FoundCanal]", tooth: int, seen: Seen | None
) -> tuple[Path, ...]:
    """Files of the canals, and of the tooth where a scan showed it, written to a new folder."""
    from canalwright.anatomy import Tooth
    from canalwright.exchange.codes import of_tooth
    from canalwright.imaging.exports import export

    wanted = [k.strip() for k in kinds.split(",") if k.strip()]
    if seen is None:
        return tuple(export(folder, canals, [k for k in wanted if k != "nii"]))
    code = of_tooth(Tooth(tooth))
    return tuple(
        export(
            folder, canals, wanted, scan=seen.scan, whole=seen.opened, tooth=seen.tooth.tooth if seen.tooth else None,
            series=seen.asked.series, region=(code.value, code.scheme, code.meaning), identity=seen.asked.identity,
        )
    )  # fmt: skip


def sides(seen: Seen) -> "dict[str, tuple[SideWall, ...]]":
    """The wall by side of each canal, where the scan shows it."""
    from canalwright import imaging
    from canalwright.anatomy import Tooth

    tooth, ways = Tooth(seen.asked.tooth), seen.asked.directions
    try:
        return {c.name: imaging.side_walls(c, tooth, **ways, others=_others(c, seen.canals)) for c in seen.canals}
    except ValueError as error:
        raise imaging.ScanError(f"{error}; correct the direction, or leave it out") from None


def _others(canal: "FoundCanal", canals: "Sequence[FoundCanal]") -> "list[FoundCanal]":
    return [other for other in canals if other is not canal]


def tell(out: Path, canals: "Sequence[FoundCanal]", made: "Sequence[Path]", seen: Seen | None) -> None:
    """The canals as people read them, with what is doubtful, and what was written."""
    from canalwright.imaging.measures import measures
    from canalwright.imaging.vertucci import configuration, roots
    from canalwright.planning import CAUTION

    for canal in canals:
        told = measures(canal, **_ways(seen), others=_others(canal, canals))
        output.line(
            f"{canal.name}: {told.length.format(1)} from terminus to orifice, foramen {canal.foramen:.2f} mm, "
            f"quality {canal.quality.score:.2f}" + (f"; joins {canal.joined}" if canal.joined else "")
        )
        if told.thinnest:
            towards = f" towards {told.thinnest.towards}" if told.thinnest.towards else ""
            output.line(
                f"  least wall {told.thinnest.thickness.format(2)}{towards}, {told.thinnest.z:.1f} mm from the terminus"
            )
        output.line(f"  volume {told.volume.format(2)}, surface {told.surface.format(1)}")
        for view in told.views:
            output.line(
                f"  {view.name}: Schneider {view.schneider.format(0)}, Pruett {view.angle.format(0)}, radius {_radius(view.radius)}"
            )
        for name, level in _levels(canal, seen).items():
            output.line(f"  {name}: " + (f"{level.format(1)} from the terminus" if level else "not seen in this scan"))
        for reason in canal.quality.reasons:
            output.line(f"  doubtful: {reason}")
        for note in canal.notes:
            output.line(f"  note: {note}")
    for root in roots(canals):
        output.line(f"root with {', '.join(c.name for c in root)}: {configuration(root)}")
    for path in made:
        output.line(f"wrote {path}")
    output.line(f"wrote {out}; next: canalwright plan {out}")
    output.line(CAUTION)


def _radius(radius: "Quantity") -> str:
    """A radius whose interval may reach a straight line."""
    return radius.format(1).replace("to inf)", "to straight)")


def _ways(seen: Seen | None) -> dict[str, Any]:
    return seen.asked.directions if seen else {}


def _levels(canal: "FoundCanal", seen: Seen | None) -> "dict[str, Quantity | None]":
    """Bone crest and enamel junction, None where they are not seen; nothing for surfaces."""
    from canalwright.imaging import ScanError
    from canalwright.imaging.levels import levels

    if seen is None:
        return {}
    try:
        found = levels(seen.scan, canal)
    except ScanError:
        return {"bone crest": None, "cemento-enamel junction": None}
    return {"bone crest": found.crest, "cemento-enamel junction": found.cej}


def as_json(out: Path, canals: "Sequence[FoundCanal]", made: "Sequence[Path]", seen: Seen | None) -> dict[str, Any]:
    """The same as plain JSON types."""
    from canalwright.imaging.vertucci import configuration, roots
    from canalwright.planning import CAUTION

    return {
        "case": str(out),
        "canals": [_summary(canal, canals, seen) for canal in canals],
        "roots": [{"canals": [c.name for c in root], "type": str(configuration(root))} for root in roots(canals)],
        "files": [str(path) for path in made],
        "caution": CAUTION,
    }


def _summary(canal: "FoundCanal", canals: "Sequence[FoundCanal]", seen: Seen | None) -> dict[str, Any]:
    from canalwright.imaging.measures import measures

    told = measures(canal, **_ways(seen), others=_others(canal, canals))
    return {
        "name": canal.name,
        "length_mm": round(canal.length, 2),
        "length": told.length.as_json(),
        "foramen_mm": round(canal.foramen, 3),
        "least_wall": told.thinnest.thickness.as_json() if told.thinnest else None,
        "least_wall_at": (
            {"level_mm": round(told.thinnest.z, 1), "towards": told.thinnest.towards or None} if told.thinnest else None
        ),
        "volume": told.volume.as_json(),
        "surface": told.surface.as_json(),
        "views": [
            {
                "view": v.name,
                "schneider": v.schneider.as_json(),
                "angle": v.angle.as_json(),
                "radius": v.radius.as_json(),
            }
            for v in told.views
        ],
        "levels": {k: v.as_json() if v else None for k, v in _levels(canal, seen).items()},
        "orifice_lps_mm": [round(float(v), 2) for v in canal.orifice],
        "terminus_lps_mm": [round(float(v), 2) for v in canal.terminus],
        "quality": round(canal.quality.score, 2),
        "joins": canal.joined or None,
        "doubts": [*canal.quality.reasons, *canal.notes],
    }
