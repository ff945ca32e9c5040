"""heat3d: the planned filling in the root's own shape."""

from pathlib import Path
from typing import Annotated, Any

import typer

from canalwright.cli import inputs, output

Walls = Annotated[
    str | None,
    typer.Option("--walls", metavar="DEG=MM,...", help="Dentine by direction from the canal's greatest width: 0=0.9,180=2.4."),
]  # fmt: skip
Film = Annotated[
    Path | None, typer.Option("--animation", metavar="FILE", help="Write the film: .png (animated) or .gif.")
]
Table = Annotated[bool, typer.Option("--what-if", help="Add the table of the usual choices.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the table of choices as CSV.")]
Quick = Annotated[bool, typer.Option("--quick", help="Coarser cells, some three times as fast.")]


def heat3d(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    walls: Walls = None,
    temperature: inputs.Temperature = None,
    activation: inputs.Activation = None,
    rounds: inputs.Rounds = None,
    table: Table = False,
    csv: Csv = None,
    animation: Film = None,
    quick: Quick = False,
    json: inputs.AsJson = False,
) -> None:
    """Run the planned filling in three dimensions: where the root surface and the bone get hot, when, and by which act."""
    from canalwright.cli.errors import BAD_INPUT
    from canalwright.heat import solid
    from canalwright.heat.solid import choices as usual
    from canalwright.heat.solid import telling
    from canalwright.heat.solid.animate import animate
    from canalwright.planning import plan
    from canalwright.planning.product import CAUTION
    from canalwright.shaping import shaped

    thick = _walls(walls)
    _, canals = inputs.read_case(case, canal)
    instruments = inputs.read_tray(tray)
    wanted = inputs.choices_of(temperature=temperature, activation=activation, rounds=rounds)
    if (animation or csv) and len(canals) > 1:
        output.error("--animation and --csv write one canal: name it with --canal")
        raise typer.Exit(BAD_INPUT)
    if animation and animation.suffix.lower() not in (".png", ".apng", ".gif"):
        output.error(f"{animation.name}: an animation is written as .png (animated) or .gif")
        raise typer.Exit(BAD_INPUT)
    cells = solid.Voxels.quick() if quick else solid.Voxels.standard()
    results: list[dict[str, Any]] = []
    with output.progress("heating in three dimensions") as step:
        for one in canals:
            step(one.name)
            made = plan(one, instruments, wanted)
            lumen, protocol = shaped(one), made.protocol
            root = solid.from_lumen(lumen, walls=thick, crest=one.crest, voxels=cells)
            story = solid.simulate(root, protocol, voxels=cells, film=animation is not None)
            factor = usual.spread(lumen, protocol)
            rows = solid.what_if(lumen, protocol, walls=thick) if table or csv else ()
            results.append({"canal": one.name, **telling.as_json(story, factor, CAUTION)})
            if rows:
                results[-1]["what_if"] = telling.table_json(rows)
            if csv:
                csv.write_text(solid.as_csv(rows), encoding="utf-8")
            if animation:
                animate(story, animation, caution="not a certified device; check every number")
            if not json:
                for text in telling.as_lines(one.name, story, factor):
                    output.line(text)
                if rows:
                    output.line(solid.as_text(rows))
    if json:
        output.print_json({"heat3d": results})
    else:
        output.line(CAUTION)


def _walls(text: str | None) -> dict[float, float] | None:
    """Directions and thicknesses from the option."""
    from canalwright.cli.errors import BAD_INPUT

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
            output.error(
                f"--walls: {part!r} is not DEG=MM (-360 to 360 degrees, 0.1 to 10 mm); write for instance 0=0.9,180=2.4"
            )
            raise typer.Exit(BAD_INPUT) from None
    return found
