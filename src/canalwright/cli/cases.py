"""check-case, plan, simulate, card."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output
from canalwright.cli.errors import BAD_INPUT, DANGEROUS
from canalwright.cli.spread import spread

if TYPE_CHECKING:
    from canalwright.planning import Plan

Out = Annotated[
    Path | None, typer.Option("--out", metavar="PATH", help="Write here (a folder, or a file for one canal).")
]
Paper = Annotated[str, typer.Option("--paper", help="a4 or letter.")]


def check_case(case: inputs.CasePath, json: inputs.AsJson = False) -> None:
    """Say what is wrong, or doubtful, in a case file."""
    from canalwright import casefile

    problems = casefile.check(case)
    if json:
        output.print_json({"file": case.name, "problems": [vars_of(p) for p in problems]})
    elif problems:
        for problem in problems:
            output.error(str(problem))
    else:
        read, canals = inputs.read_case(case)
        output.line(f"{case.name}: good. Tooth {read.tooth}; canals: {', '.join(c.name for c in canals)}")
        for doubt in [*read.doubts, *(note for c in canals for note in c.notes)]:
            output.line(f"  doubtful: {doubt.key}: {doubt.message}; {doubt.action}")
    if problems:
        raise typer.Exit(BAD_INPUT)


def vars_of(item: Any) -> dict[str, Any]:
    """Fields of a small record."""
    return {name: getattr(item, name) for name in item.__slots__}


@spread
def plan(
    case: inputs.CasePath, wanted: inputs.Wanted, json: inputs.AsJson = False, strict: inputs.Strict = False
) -> None:
    """Plan the filling of each canal: cone, pluggers, rounds, portions, warnings, each number with its interval."""
    from canalwright.report import plan_json

    plans = _plans(case, wanted)
    if json:
        output.print_json({"plans": [plan_json(p) for p in plans]})
    else:
        for one in plans:
            output.print_plan(one)
    _judge(plans, strict)


@spread
def simulate(
    case: inputs.CasePath,
    wanted: inputs.Wanted,
    animation: Annotated[
        Path | None,
        typer.Option(
            "--animation",
            metavar="PATH",
            help="Write a moving picture too: .gif or .png (animated), a folder for many canals.",
        ),
    ] = None,
    json: inputs.AsJson = False,
    strict: inputs.Strict = False,
) -> None:
    """Run the planned filling over time: temperatures, melt front, pressure, fill."""
    from canalwright.planning import simulate as run
    from canalwright.report import animation as animate
    from canalwright.report import story_json

    plans = _plans(case, wanted)
    stories, written = [], []
    with output.progress("simulating") as step:
        for one in plans:
            step(one.canal.name)
            stories.append(run(one))
    if animation is not None:
        with output.progress("drawing the moving picture") as step:
            for one, story in zip(plans, stories, strict=True):
                step(one.canal.name)
                path = _path(case, one, animation, tuple(animate.KINDS), alone=len(plans) == 1)
                written.append(str(animate.animation(one, story, path)))
    if json:
        told = [story_json(p, s) for p, s in zip(plans, stories, strict=True)]
        output.print_json({"stories": told} | ({"animations": written} if written else {}))
    else:
        for one, story in zip(plans, stories, strict=True):
            output.print_story(one, story)
        for name in written:
            output.line(f"wrote {name}")
    _judge(plans, strict)


@spread
def card(
    case: inputs.CasePath,
    wanted: inputs.Wanted,
    out: Out = None,
    paper: Paper = "a4",
    language: inputs.Language = "en",
    json: inputs.AsJson = False,
    strict: inputs.Strict = False,
) -> None:
    """Write the card of each canal: one page for the chair, as PDF."""
    from canalwright.planning import simulate as run
    from canalwright.report import card as write_card
    from canalwright.web.markup.picture import tongue

    spoken = tongue(inputs.words_in(language))
    plans, label = _plans(case, wanted), inputs.read_case(case, None)[0].label
    written = []
    with output.progress("drawing cards") as step:
        for one in plans:
            step(one.canal.name)
            path = _path(case, one, out, (".pdf",), alone=len(plans) == 1)
            write_card(one, run(one), path, paper=paper, label=label, tongue=spoken)
            written.append(str(path))
    if json:
        output.print_json({"cards": written})
    else:
        for name in written:
            output.line(f"wrote {name}")
    _judge(plans, strict)


def _plans(case: Path, wanted: inputs.Wanted) -> "list[Plan]":
    from canalwright.planning import plan as make

    read, canals = inputs.read_case(case, wanted.canal)
    instruments = inputs.read_tray(wanted.tray)
    choices = inputs.choices_of(**vars(wanted))
    plans = []
    with output.progress("planning") as step:
        for one in canals:
            step(one.name)
            plans.append(make(one, instruments, choices, read.record(one.name)))
    return plans


def _path(case: Path, plan: "Plan", out: Path | None, endings: tuple[str, ...], *, alone: bool) -> Path:
    """Where what was made for a canal goes: the file that was asked for, or one named after case and canal in that folder."""
    canal = plan.canal.name.replace(" ", "-")
    if out is None:
        return Path(f"{case.stem}-{canal}{endings[0]}")
    if out.suffix.lower() in endings:
        return out if alone else out.with_name(f"{out.stem}-{canal}{out.suffix}")
    out.mkdir(parents=True, exist_ok=True)
    return out / f"{case.stem}-{canal}{endings[0]}"


def _judge(plans: "list[Plan]", strict: bool) -> None:
    from canalwright.planning import Harm

    if strict and any(p.worst >= Harm.DANGER for p in plans):
        raise typer.Exit(DANGEROUS)
