"""The root's shape for heat3d: walls by direction and a root beside it, or surfaces, labels or a scan in which the case was measured."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from canalwright.cli import output

if TYPE_CHECKING:
    from canalwright.anatomy.canal import Canal
    from canalwright.anatomy.lumen import Lumen
    from canalwright.heat.solid import Solid, Voxels

Walls = Annotated[
    str | None,
    typer.Option("--walls", metavar="DEG=MM,...", help="Dentine by direction from the canal's greatest width: 0=0.9,180=2.4."),
]  # fmt: skip
Beside = Annotated[
    str | None,
    typer.Option(
        "--neighbour", metavar="MM,DEG[,RADIUS[,END]]", help="A root beside it: distance of the axes, direction, radius, end (z)."
    ),
]  # fmt: skip
LumenFile = Annotated[
    Path | None, typer.Option("--lumen", metavar="FILE", help="Lumen surface in which the case was measured.")
]
DentineFile = Annotated[
    Path | None, typer.Option("--dentine", metavar="FILE", help="Dentine surface in which the case was measured.")
]
LabelFile = Annotated[
    Path | None,
    typer.Option(
        "--labels", metavar="FILE",
        help="Labelled scan of the measured case: 0 canal, 1 dentine, 2 cementum, 3 ligament, 4 cortical bone, 5 cancellous bone, "
        "6 soft tissue, 7 air.",
    ),
]  # fmt: skip
ScanFile = Annotated[Path | None, typer.Option("--scan", metavar="FILE", help="Scan in which the case was measured.")]

Make = Callable[["Canal", "Lumen", "Voxels"], "Solid"]
"""Canal, shaped lumen and cells to a solid."""


def read(
    walls: str | None, beside: str | None, lumen: Path | None, dentine: Path | None, labels: Path | None, scan: Path | None,
    voxel: float | tuple[float, float, float] | None,
) -> Make:  # fmt: skip
    """What builds the solid of a canal as the options ask; complains in one line about those that do not go together."""
    thick, neighbour = _walls(walls), _neighbour(beside)
    files = [bool(lumen or dentine), labels is not None, scan is not None]
    if sum(files) > 1:
        _refuse("--lumen with --dentine, --labels and --scan are three ways to say one thing: give one of them")
    if any(files) and (thick or neighbour):
        _refuse(
            "--walls and --neighbour are for a root built from measurements; the files say where dentine is: leave them out"
        )
    if bool(lumen) != bool(dentine):
        _refuse("--lumen and --dentine go together: the canal and the root round it; give both")
    if lumen and dentine:
        return _surfaces(lumen, dentine)
    if labels:
        return _labels(labels, voxel)
    if scan:
        return _scan(scan, voxel)
    return _measured(thick, neighbour)


def _measured(walls: dict[float, float] | None, neighbour: Any) -> Make:
    from canalwright.heat import solid

    return lambda canal, lumen, cells: solid.from_lumen(
        lumen, walls=walls, neighbour=neighbour, crest=canal.crest, voxels=cells
    )


def _surfaces(lumen: Path, dentine: Path) -> Make:
    from canalwright import imaging
    from canalwright.heat import solid

    inner, outer = imaging.read_surface(lumen), imaging.read_surface(dentine)
    return lambda canal, hollow, cells: _built(
        canal, dentine, lambda: solid.from_surfaces(inner, outer, hollow, crest=canal.crest, voxels=cells)
    )


def _labels(path: Path, voxel: float | tuple[float, float, float] | None) -> Make:
    from canalwright import imaging
    from canalwright.heat import solid

    scan = imaging.read_scan(path, voxel=voxel)
    return lambda canal, lumen, cells: _built(canal, path, lambda: solid.from_scan_labels(scan, lumen, voxels=cells))


def _scan(path: Path, voxel: float | tuple[float, float, float] | None) -> Make:
    import numpy as np

    from canalwright import imaging
    from canalwright.heat import solid
    from canalwright.imaging.tooth.outline import find_tooth

    scan = imaging.read_scan(path, voxel=voxel)

    def make(canal: "Canal", lumen: "Lumen", cells: "Voxels") -> "Solid":
        at = lumen.centre[lumen.size // 2] + (0.5 * lumen.major[lumen.size // 2] + 0.4) * np.asarray(
            lumen.axis[lumen.size // 2]
        )
        return _built(canal, path, lambda: solid.from_tooth(find_tooth(scan, at), lumen, voxels=cells))

    return make


def _built(canal: "Canal", path: Path, make: Callable[[], "Solid"]) -> "Solid":
    """The solid, or one line that names canal and file."""
    if not canal.native.centre[0].any():  # built from widths and levels: its terminus is the origin
        _refuse(
            f"{path.name}, canal {canal.name}: the case does not say where the canal lies in that file; write the case with 'canalwright "
            "measure' from it, or leave the file out"
        )
    try:
        return make()
    except ValueError as error:
        _refuse(f"{path.name}, canal {canal.name}: {error}; measure the case in this file, or leave it out")


def _walls(text: str | None) -> dict[float, float] | None:
    """Directions and thicknesses from the option."""
    if text is None:
        return None
    found: dict[float, float] = {}
    for part in text.split(","):
        angle, _, thick = part.partition("=")
        try:
            found[float(angle)] = float(thick)
            if not (0.1 <= float(thick) <= 10.0 and -360.0 <= float(angle) <= 360.0):
                raise ValueError
        except ValueError:
            _refuse(
                f"--walls: {part!r} is not DEG=MM (-360 to 360 degrees, 0.1 to 10 mm); write for instance 0=0.9,180=2.4"
            )
    return found


def _neighbour(text: str | None) -> Any:
    from canalwright.heat import solid

    if text is None:
        return None
    try:
        parts = [float(p) for p in text.split(",")]
        good = 2 <= len(parts) <= 4 and 1.0 <= parts[0] <= 20.0 and abs(parts[1]) <= 360.0
        good = good and (len(parts) < 3 or 0.5 <= parts[2] <= 6.0) and (len(parts) < 4 or -10.0 <= parts[3] <= 20.0)
    except ValueError:
        good = False
    if not good:
        _refuse(
            f"--neighbour: {text!r} is not MM,DEG[,RADIUS[,END]] (1 to 20 mm, radius 0.5 to 6, end -10 to 20); write for instance 4.5,90"
        )
    return solid.Neighbour(*parts)


def _refuse(text: str) -> NoReturn:
    from canalwright.cli.errors import BAD_INPUT

    output.error(text)
    raise typer.Exit(BAD_INPUT)
