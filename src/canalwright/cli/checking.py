"""check: what came of a filling, from a radiograph or from two scans."""

import json as text
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output

if TYPE_CHECKING:
    from canalwright.assessment import Assessment
    from canalwright.assessment.scan import ScanReading
    from canalwright.imaging import Scan
    from canalwright.planning import Plan

FilmPath = Annotated[
    Path | None,
    typer.Option("--film", metavar="FILE", help="The radiograph after the filling (DICOM, PNG, TIFF, JPEG)."),
]
MarksPath = Annotated[
    Path | None,
    typer.Option(
        "--marks",
        metavar="FILE",
        help='Marks on it as JSON, in pixels: {"line": [[x, y], ...] from coronal to the root\'s end, "known": two points and "known_mm", '
        'and where wanted "terminus", "end", "reference", "outline"}.',
    ),
]
Before = Annotated[Path | None, typer.Option("--before", metavar="SCAN", help="Scan before the filling.")]
After = Annotated[Path | None, typer.Option("--after", metavar="SCAN", help="Scan after it.")]
Orifice = Annotated[str | None, typer.Option("--orifice", metavar="X,Y,Z", help="Orifice in the scan before, LPS mm.")]
Terminus = Annotated[
    str | None, typer.Option("--terminus", metavar="X,Y,Z", help="Terminus in the scan before, LPS mm.")
]
Basis = Annotated[str, typer.Option("--basis", help="What the scans are: cone-beam or micro-ct.")]
BandName = Annotated[str, typer.Option("--band", help="Allowed end: two (0-2 mm short) or guideline (0.5-2 mm short).")]
Search = Annotated[bool, typer.Option("--search", help="Also try turns about the canal: a specimen put back anyhow.")]
Height = Annotated[
    float | None, typer.Option("--ferrule", metavar="MM", parser=inputs.decimal, help="Height of the ferrule.")
]
Thick = Annotated[
    float | None, typer.Option("--ferrule-thickness", metavar="MM", parser=inputs.decimal, help="Its thickness.")
]
Crown = Annotated[
    float | None, typer.Option("--crown", metavar="MM", parser=inputs.decimal, help="Height of the crown.")
]
Earlier = Annotated[
    list[Path] | None,
    typer.Option(
        "--earlier", metavar="FILE", help="Earlier checks (JSON of this verb): your own habits are learned from them."
    ),
]
Export = Annotated[
    Path | None,
    typer.Option(
        "--export",
        metavar="FILE",
        help="Write canal, filling, void and unfilled of two scans as labels: .dcm (DICOM Segmentation), .nii.gz, .nrrd or .mha.",
    ),
]
MOST_MARKS = 256 * 1024


def check(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    film: FilmPath = None,
    marks: MarksPath = None,
    before: Before = None,
    after: After = None,
    orifice: Orifice = None,
    terminus: Terminus = None,
    basis: Basis = "cone-beam",
    band: BandName = "two",
    search: Search = False,
    ferrule: Height = None,
    ferrule_thickness: Thick = None,
    crown: Crown = None,
    earlier: Earlier = None,
    export: Export = None,
    json: inputs.AsJson = False,
) -> None:
    """Check a filling: length, density, taper, voids, what went beyond, against the plan; what post the root still allows."""
    from canalwright import planning
    from canalwright.assessment import compare, habits, restoration
    from canalwright.report.checking import assessment_text

    _, canals = inputs.read_case(case, canal)
    if len(canals) != 1:
        raise _wrong(case, "canal", f"{len(canals)} canals", "one of them", "name the canal with --canal")
    one = canals[0]
    if band not in ("two", "guideline"):
        raise _wrong(case, "--band", repr(band), "two, guideline", "choose one of them")
    with output.progress("checking") as step:
        step("plan")
        plan = planning.plan(one, inputs.read_tray(tray))
        step("images")
        if film is not None and marks is not None:
            found = _from_film(film, marks, plan, band)
        elif before is not None and after is not None:
            found = _from_scans(case, before, after, orifice, terminus, basis, plan, band, search, export)
        else:
            raise _lacking(case, film, before, after)
    found = compare.against(found, plan)
    top = found.to_terminus.value + found.length_filled.value
    try:
        restored = restoration.restoration(
            one, found.to_terminus.value, ferrule=ferrule, thickness=ferrule_thickness, crown=crown, filled_top=top
        )
    except ValueError as error:
        raise _wrong(case, "restoration", "a length that cannot be", "see the message", str(error)) from None
    learned = habits.of_events(_json(path) for path in earlier or ())
    if json:
        ends = [[r.key, r.gap.value] for r in found.residuals if r.gap is not None and r.key in ("end", "top")]
        output.print_json({"canal": one.name, "assessment": found.as_json(), "habits": ends})
    else:
        output.line(assessment_text(found, restored, learned))


def _from_film(path: Path, marks: Path, plan: "Plan", band: str) -> "Assessment":
    from canalwright.assessment import criteria, film
    from canalwright.imaging.radiograph.image import scale_from_known, scale_from_spacing
    from canalwright.imaging.radiograph.read import read_film

    picture = read_film(path)
    told = _json(marks)
    known = told.get("known")
    if known:
        scale = scale_from_known(known, float(told.get("known_mm") or 0))
    elif picture.spacing is not None:
        scale = scale_from_spacing(picture.spacing)
    else:
        raise film.FilmError(f"{marks.name}: no scale; mark an instrument of known length (known, known_mm)")
    made = film.Marks.of(
        told.get("line") or [], told.get("terminus"), told.get("end"), told.get("reference"), told.get("outline") or ()
    )
    canal = plan.canal
    return film.read(
        picture, scale, made, tooth=canal.tooth.code, canal=canal.name, plan=plan, band=criteria.BANDS[band]
    ).assessment


def _from_scans(
    case: Path, before: Path, after: Path, orifice: str | None, terminus: str | None, basis: str, plan: "Plan", band: str,
    search: bool, export: Path | None,
) -> "Assessment":  # fmt: skip
    from canalwright.assessment import criteria, scan
    from canalwright.imaging import read_scan, trace

    names = {"cone-beam": "cone-beam scan", "micro-ct": "micro-CT"}
    if basis not in names:
        raise _wrong(case, "--basis", repr(basis), ", ".join(names), "choose one of them")
    if export is not None and export.exists():
        raise _wrong(
            case, "--export", str(export), "a file that is not there yet", "name another: nothing is written over"
        )
    ends = _place(case, "--orifice", orifice), _place(case, "--terminus", terminus)
    first, second = read_scan(before), read_scan(after)
    line = scan.CanalLine.of(trace(first, *ends))
    canal = plan.canal
    found = scan.read(
        first, second, line, basis=names[basis], tooth=canal.tooth.code, canal=canal.name, plan=plan,
        band=criteria.BANDS[band], search=search,
    )  # fmt: skip
    if export is not None:
        _write_labels(found, first, canal.tooth.code, export)
    return found.assessment


def _write_labels(found: "ScanReading", whole: "Scan", tooth: int, out: Path) -> None:
    from canalwright.anatomy import Tooth
    from canalwright.assessment.scan import NAMES
    from canalwright.exchange.codes import of_tooth
    from canalwright.imaging.exports import FILLING, segmentation, write_labels

    if out.suffix.lower() == ".dcm":
        code = of_tooth(Tooth(tooth))
        region = (code.value, code.scheme, code.meaning)
        segmentation(found.labels, NAMES, whole, region=region, purpose=FILLING).save_as(out)
    else:
        write_labels(found.labels, out)


def _place(case: Path, name: str, told: str | None) -> Any:
    import numpy as np

    try:
        found = np.array([float(v) for v in (told or "").split(",")])
    except ValueError:
        found = np.zeros(0)
    if told is None:
        raise _wrong(case, name, "none", "three numbers, X,Y,Z in LPS mm", "read them off the scan before the filling")
    if found.shape != (3,) or not np.isfinite(found).all():
        raise _wrong(
            case, name, repr(told), "three numbers, X,Y,Z in LPS mm", "read them off the scan before the filling"
        )
    return found


def _json(path: Path) -> dict[str, Any]:
    from canalwright.assessment.film import FilmError

    with path.open("rb") as file:
        content = file.read(MOST_MARKS + 1)
    try:
        told = text.loads(content) if len(content) <= MOST_MARKS else None
    except ValueError:
        told = None
    if not isinstance(told, dict):
        raise FilmError(f"{path.name}: not a JSON object of at most 256 kB: write it as the help of this verb shows")
    return told


def _lacking(case: Path, film: Path | None, before: Path | None, after: Path | None) -> Exception:
    """What is missing of the images that were begun with."""
    if film is not None:
        return _wrong(
            case, "--marks", "none", "a JSON file of marks", "mark scale and canal on the film; the help says how"
        )
    if before is not None or after is not None:
        lacking = "--before" if before is None else "--after"
        return _wrong(case, lacking, "none", "a scan", "both scans are needed, before and after the filling")
    return _wrong(case, "images", "none", "--film with --marks, or --before with --after", "give one of them")


def _wrong(case: Path, where: str, found: str, allowed: str, action: str) -> Exception:
    from canalwright.casefile import CaseError, Problem

    return CaseError((Problem(case.name, where, found, allowed, action),))
