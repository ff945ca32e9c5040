"""measure: from surfaces of a tooth, or from a scan, to a case file."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, measuring_scan, output

if TYPE_CHECKING:
    from canalwright.imaging import FoundCanal

SURFACES = (".stl", ".ply", ".obj", ".glb", ".gltf", ".off")
Point = tuple[float, float, float]

Lumen = Annotated[Path, typer.Argument(metavar="LUMEN", help="Lumen (pulp) surface: STL, PLY, OBJ; or a scan.")]
Dentine = Annotated[Path | None, typer.Argument(metavar="DENTINE", help="Dentine surface (not for a scan).")]
Out = Annotated[Path, typer.Option("--out", metavar="CASE", help="Case file to write.")]
Tooth = Annotated[int, typer.Option("--tooth", metavar="N", help="Tooth in ISO 3950, such as 46.")]
File = Annotated[
    list[str],
    typer.Option(
        "--file", metavar="[CANAL=]SIZE/TAPER", help="Finishing file of the plan, such as 35/0.06 or distal=45/0.06."
    ),
]
Enamel = Annotated[
    Path | None, typer.Option("--enamel", metavar="FILE", help="Enamel surface, for reference point and CEJ.")
]
Orifice = Annotated[
    list[str], typer.Option("--orifice", metavar="X,Y,Z", help="Orifice of a canal, mm; one for each canal.")
]
Terminus = Annotated[
    list[str], typer.Option("--terminus", metavar="X,Y,Z", help="Terminus of a canal, mm; one for each.")
]
Mesial = Annotated[str | None, typer.Option("--mesial", metavar="X,Y,Z", help="Direction of mesial, to name canals.")]
Buccal = Annotated[str | None, typer.Option("--buccal", metavar="X,Y,Z", help="Direction of buccal, to name canals.")]
Mask = Annotated[
    Path | None, typer.Option("--mask", metavar="FILE", help="Mask on the scan's grid, one label a canal.")
]
Label = Annotated[str, typer.Option("--label", metavar="TEXT", help="Label or pseudonym of the case.")]
Name = Annotated[
    list[str], typer.Option("--name", metavar="NAME", help="Name of each canal traced in a scan, in order.")
]
Click = Annotated[
    str | None,
    typer.Option("--click", metavar="X,Y,Z", help="A point in the tooth, LPS mm: its canals are found from it."),
]
Series = Annotated[
    str | None, typer.Option("--series", metavar="N", help="Which DICOM series of a folder: number or end of its UID.")
]
Identity = Annotated[bool, typer.Option("--identity", help="Keep the patient's name and number from the DICOM header.")]
Export = Annotated[
    Path | None, typer.Option("--export", metavar="FOLDER", help="New folder for surfaces, tables and labels.")
]
Kinds = Annotated[
    str,
    typer.Option("--kinds", metavar="LIST", help="What to export: stl, obj, ply, glb, gltf, csv, json, nii, seg."),
]
Corrections = Annotated[
    Path | None, typer.Option("--corrections", metavar="FILE", help="Corrections of a scan's canals (see correct).")
]
Post = Annotated[list[str], typer.Option("--post", metavar="CANAL", help="A canal that takes a post.")]
End = Annotated[
    float,
    typer.Option("--end", metavar="MM", parser=inputs.decimal, help="How far from the terminus the preparation ends."),
]


def measure(
    lumen: Lumen,
    dentine: Dentine = None,
    *,
    out: Out,
    tooth: Tooth,
    file: File,
    enamel: Enamel = None,
    orifice: Orifice = [],  # noqa: B006
    terminus: Terminus = [],  # noqa: B006
    mesial: Mesial = None,
    buccal: Buccal = None,
    voxel: inputs.VoxelSize = None,
    mask: Mask = None,
    label: Label = "",
    name: Name = [],  # noqa: B006
    post: Post = [],  # noqa: B006
    end: End = 0.5,
    corrections: Corrections = None,
    click: Click = None,
    series: Series = None,
    identity: Identity = False,
    export: Export = None,
    kinds: Kinds = "stl,csv,json,nii",
    json: inputs.AsJson = False,
) -> None:
    """Find and measure the canals of a tooth in its surfaces or in a scan, and write them to a case file.

    In a scan one point in the tooth is enough (--click), or none where a single tooth fills it; orifices and termini may be
    given instead, or a mask.
    """
    from canalwright import casefile

    orifices = [inputs.point("--orifice", p) for p in orifice]
    termini = [inputs.point("--terminus", p) for p in terminus]
    files = [_file(f) for f in file]
    extras: dict[str, Any] = {}
    seen: measuring_scan.Seen | None = None
    with output.progress(f"measuring {lumen.name}"):
        directions = {k: inputs.point(f"--{k}", p) for k, p in (("mesial", mesial), ("buccal", buccal)) if p}
        if lumen.suffix.lower() in SURFACES:
            found, extras = _surfaces(lumen, dentine, tooth, enamel, orifices, termini, directions)
        else:
            asked = measuring_scan.Asked(
                lumen, dentine, inputs.voxel_size(voxel), mask, orifices, termini, name,
                None if click is None else inputs.point("--click", click), series, identity, corrections,
                tooth, directions,
            )  # fmt: skip
            seen = measuring_scan.measured(asked)
            found, extras = seen.canals, {**seen.extras, "wall_sides": measuring_scan.sides(seen)}
        case = casefile.from_found(
            found,
            tooth=tooth,
            label=label or f"Tooth {tooth}, measured in {lumen.name}",
            finishing_file=_by_canal(files, found),
            end=end,
            post=tuple(post),
            **extras,
        )
        casefile.dump(case, out)
        made = () if export is None else measuring_scan.exported(export, kinds, found, tooth, seen)
    if json:
        output.print_json(measuring_scan.as_json(out, found, made, seen))
    else:
        measuring_scan.tell(out, found, made, seen)


def _surfaces(
    lumen: Path,
    dentine: Path | None,
    tooth: int,
    enamel: Path | None,
    orifices: list[Point],
    termini: list[Point],
    directions: dict[str, Point],
) -> "tuple[tuple[FoundCanal, ...], dict[str, Any]]":
    from canalwright import imaging

    if dentine is None:
        raise imaging.SurfaceError(
            f"{lumen.name}: a lumen surface needs the dentine surface too; name it as the second file"
        )
    outer = imaging.read_surface(dentine)
    crown = imaging.read_surface(enamel) if enamel else None
    found = imaging.canals_from_surfaces(
        imaging.read_surface(lumen),
        outer,
        tooth=tooth,
        enamel=crown,
        orifices=orifices or None,
        termini=termini or None,
        **directions,
    )
    above = {c.name: round(imaging.reference_point(c, crown or outer).above, 2) for c in found}
    return found, {"above_orifice": above, "method": "surface meshes"}


def _file(text: str) -> tuple[str | None, tuple[int, float]]:
    canal, _, rest = text.rpartition("=")
    size, _, taper = rest.partition("/")
    try:
        return canal or None, (int(size), float(taper))
    except ValueError:
        raise typer.BadParameter(f"--file = {text!r}: write SIZE/TAPER such as 35/0.06, or distal=45/0.06") from None


def _by_canal(
    files: list[tuple[str | None, tuple[int, float]]], found: "tuple[FoundCanal, ...]"
) -> dict[str, tuple[int, float]]:
    usual = next((size for canal, size in files if canal is None), None)
    named = {canal: size for canal, size in files if canal is not None}
    names = [canal.name for canal in found]
    for canal in named:
        if canal not in names:
            raise typer.BadParameter(f"--file: no canal named {canal!r} was found; there are {', '.join(names)}")
    chosen = {n: named.get(n, usual) for n in names}
    missing = [n for n, size in chosen.items() if size is None]
    if missing:
        raise typer.BadParameter(
            f"--file: no finishing file for {', '.join(missing)}; give one, such as --file 35/0.06"
        )
    return {n: size for n, size in chosen.items() if size is not None}
