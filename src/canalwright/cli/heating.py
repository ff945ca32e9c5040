"""heat3d: the planned filling in the root's own shape."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from canalwright.cli import heating_shape as shapes
from canalwright.cli import inputs, output

Film = Annotated[
    Path | None, typer.Option("--animation", metavar="FILE", help="Write the film: .png (animated) or .gif.")
]
Table = Annotated[bool, typer.Option("--what-if", help="Add the table of the usual choices.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the table of choices as CSV.")]
Quick = Annotated[bool, typer.Option("--quick", help="Coarser cells, some three times as fast.")]
Runs = Annotated[
    int, typer.Option("--runs", metavar="N", min=8, max=64, help="Runs in three dimensions behind the intervals.")
]


def heat3d(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    walls: shapes.Walls = None,
    neighbour: shapes.Beside = None,
    lumen: shapes.LumenFile = None,
    dentine: shapes.DentineFile = None,
    labels: shapes.LabelFile = None,
    scan: shapes.ScanFile = None,
    voxel: inputs.VoxelSize = None,
    temperature: inputs.Temperature = None,
    activation: inputs.Activation = None,
    rounds: inputs.Rounds = None,
    table: Table = False,
    csv: Csv = None,
    animation: Film = None,
    quick: Quick = False,
    runs: Runs = 16,
    json: inputs.AsJson = False,
) -> None:
    """Run the planned filling in three dimensions: where the root surface and the bone get hot, when, and by which act."""
    from canalwright.cli.errors import BAD_INPUT
    from canalwright.heat import solid
    from canalwright.heat.solid import telling
    from canalwright.heat.solid.animate import animate
    from canalwright.heat.solid.search import deepest
    from canalwright.planning import plan, thermal
    from canalwright.planning.product import CAUTION

    shape = shapes.read(walls, neighbour, lumen, dentine, labels, scan, inputs.voxel_size(voxel))
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
            hollow, protocol = made.lumen, made.protocol
            assert made.workings is not None  # a plan made here has them
            root, coarse = shape(one, hollow, cells), shape(one, hollow, solid.Voxels.coarse())
            story = solid.simulate(root, protocol, voxels=cells, film=True)
            act, pause = deepest(protocol)
            sure = solid.doubt(
                root, hollow, protocol, story, thermal.heat_draws(hollow, made.workings.draws),
                flat=made.workings.result.draws, runs=runs, act=act, pause=pause, coarse=coarse,
                step=partial(_tell, step, one.name),
            )  # fmt: skip
            rows = (
                solid.what_if(coarse, protocol, story=story, sure=sure, voxels=solid.Voxels.coarse())
                if table or csv
                else ()
            )
            results.append({"canal": one.name, **telling.as_json(story, sure, CAUTION)})
            if rows:
                results[-1]["what_if"] = telling.table_json(rows)
            if csv:
                csv.write_text(solid.as_csv(rows), encoding="utf-8")
            if animation:
                animate(story, animation, caution="not a certified device; check every number")
            if not json:
                for text in telling.as_lines(one.name, story, sure):
                    output.line(text)
                if rows:
                    output.line(solid.as_text(rows))
    if json:
        output.print_json({"heat3d": results})
    else:
        output.line(CAUTION)


def _tell(step: Callable[[str], None], name: str, share: float) -> None:
    step(f"{name}, intervals {100 * share:.0f} %")
