"""demo: the main job on an invented tooth, from the case file to cards and pictures."""

import json as jsons
from pathlib import Path
from typing import Annotated, Any

import typer

from canalwright.cli import inputs, output

Out = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the results go.")]


def demo(out: Out = Path("canalwright-demo"), draws: inputs.Draws = None) -> None:
    """Plan, simulate and draw an invented lower molar with three canals; ends by itself."""
    from canalwright import casefile, planning, report

    case, tray = casefile.demo_case(), casefile.generic_tray()
    out.mkdir(parents=True, exist_ok=True)
    casefile.dump(case, out / "case.toml")
    output.line(f"{case.label}. An invented scenario, not a patient.\n")
    made: list[str] = ["case.toml"]
    results: list[dict[str, Any]] = []
    for canal in case.canals:
        with output.progress("planning") as step:
            step(canal.name)
            plan = planning.plan(canal, tray, inputs.choices_of(draws=draws), record=case.record(canal.name))
            story = planning.simulate(plan)
        output.print_plan(plan)
        output.print_story(plan, story)
        stem = canal.name.replace(" ", "-")
        report.card(plan, story, out / f"card-{stem}.pdf", label=case.label)
        _write(out / f"section-{stem}.svg", report.section_svg(plan))
        _write(out / f"heat-{stem}.svg", report.heat_svg(plan, story))
        results.append({"plan": report.plan_json(plan), "story": report.story_json(plan, story)})
        made += [f"card-{stem}.pdf", f"section-{stem}.svg", f"heat-{stem}.svg"]
    _write(out / "results.json", jsons.dumps({"canals": results}, indent=1, allow_nan=False))
    made.append("results.json")
    output.line(f"Written into {out.resolve()}: {', '.join(made)}")
    output.line(f"Open the same case in the page: make serve, or canalwright serve {out / 'case.toml'}")
    output.line("With surfaces of a real tooth: canalwright measure LUMEN DENTINE --tooth 46 --file 35/0.06 --out CASE")


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
