"""correct: keep what a clinician corrects in a scan's canals in a file; `measure --corrections` measures it in."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output

if TYPE_CHECKING:
    from canalwright.imaging import Correction, FoundCanal, Scan

LogPath = Annotated[Path, typer.Argument(metavar="CORRECTIONS", help="File of corrections; made when it is not there.")]
What = Annotated[
    str | None,
    typer.Option(
        "--add",
        metavar="KIND",
        help="move point, move orifice, move terminus, add canal, add portal, remove canal, remove portal or barrier.",
    ),
]
Undo = Annotated[bool, typer.Option("--undo", help="Drop the last correction.")]
CanalName = Annotated[str, typer.Option("--canal", metavar="NAME", help="The canal that is corrected.")]
At = Annotated[
    list[str],
    typer.Option("--point", metavar="X,Y,Z", help="Its points in order, LPS mm: see the guide for each kind."),
]
Radius = Annotated[
    float | None, typer.Option("--radius", metavar="MM", parser=inputs.decimal, help="Radius of a barrier.")
]
Normal = Annotated[str | None, typer.Option("--normal", metavar="X,Y,Z", help="Across a flat barrier; else a ball.")]
Branch = Annotated[str, typer.Option("--portal", metavar="TEXT", help="What a side branch is called.")]
Author = Annotated[str, typer.Option("--author", metavar="NAME", help="Who corrects.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")]


def correct(
    log: LogPath,
    *,
    add: What = None,
    undo: Undo = False,
    canal: CanalName = "",
    point: At = [],  # noqa: B006
    radius: Radius = None,
    normal: Normal = None,
    portal: Branch = "lateral canal",
    author: Author = "",
    reason: Reason = "",
    json: inputs.AsJson = False,
) -> None:
    """Add a correction of a scan's canals to a file, drop the last one, or list them."""
    from canalwright import casefile
    from canalwright.imaging.corrections import Correction, Kind

    kept = list(casefile.load_corrections(log)) if log.exists() else []
    if add is not None:
        kinds = [kind.value for kind in Kind]
        if add not in kinds:
            raise typer.BadParameter(f"--add = {add!r}; allowed: {', '.join(kinds)}")
        points = tuple(inputs.point("--point", text) for text in point)
        way = None if normal is None else inputs.point("--normal", normal)
        kept.append(Correction(Kind(add), canal, points, author, reason, radius=radius, normal=way, portal=portal))
    elif undo:
        if not kept:
            raise typer.BadParameter(f"--undo: {log.name} holds no correction")
        kept.pop()
    if add is not None or undo:
        casefile.dump_corrections(kept, log)
    if json:
        output.print_json({"corrections": [_told(one) for one in kept]})
        return
    for number, one in enumerate(kept, 1):
        output.line(f"{number}. {one}: {one.reason} ({one.author}, {_when(one.time)})")
    output.line(f"{len(kept)} corrections in {log}; next: canalwright measure ... --corrections {log}")


def corrected(
    scan: "Scan", found: "tuple[FoundCanal, ...]", path: Path | None
) -> "tuple[tuple[FoundCanal, ...], tuple[Correction, ...]]":
    """The canals after the corrections in a file, and these; as they are without one."""
    from canalwright import casefile, imaging

    if path is None:
        return found, ()
    log = casefile.load_corrections(path)
    return imaging.correct(scan, found, log), log


def _told(one: "Correction") -> dict[str, Any]:
    return {
        "kind": one.kind.value, "canal": one.canal, "points_mm": [list(p) for p in one.points],
        "radius_mm": one.radius, "normal": one.normal, "author": one.author, "reason": one.reason,
        "time": one.time.isoformat(),
    }  # fmt: skip


def _when(time: datetime) -> str:
    return time.strftime("%Y-%m-%d %H:%M %Z")
