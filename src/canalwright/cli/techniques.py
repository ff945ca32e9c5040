"""techniques: the same canal filled warm, with a single cone, and cold laterally."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from canalwright.cli import inputs, output

if TYPE_CHECKING:
    from canalwright.planning import Plan
    from canalwright.planning.techniques import Technique
    from canalwright.quantities import Quantity

Doubts = Annotated[
    bool, typer.Option("--doubts", help="Say which input most of the doubt comes from (Sobol; a few seconds).")
]


def techniques(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    doubts: Doubts = False,
    draws: inputs.Draws = None,
    json: inputs.AsJson = False,
) -> None:
    """Compare three ways of filling one canal: gutta-percha, sealer and voids, and how far side branches fill."""
    from canalwright import planning
    from canalwright.planning import techniques as three

    read, canals = inputs.read_case(case, canal)
    instruments = inputs.read_tray(tray)
    told: list[dict[str, Any]] = []
    for one in canals:
        with output.progress(f"comparing {one.name}"):
            plan = planning.plan(one, instruments, inputs.choices_of(draws=draws), record=read.record(one.name))
            found = three.compare(plan)
            said = three.doubts(plan) if doubts else ()
        if json:
            told.append(_json(plan, found, said))
        else:
            _print(plan, found, said)
    if json:
        output.print_json({"caution": planning.CAUTION, "canals": told})
    else:
        output.line(planning.CAUTION)


def _print(plan: "Plan", found: "tuple[Technique, ...]", said: tuple[str, ...]) -> None:
    output.line(f"Tooth {plan.canal.tooth}, {plan.canal.name} canal: what the filled part holds, % (5-95 %)")
    heads = ["", "gutta-percha", "sealer", "voids", *(f"{p.kind} at {p.z:.1f} mm filled" for p in plan.canal.portals)]
    rows = [heads, *([t.name, *map(_share, (t.gutta, t.sealer, t.void, *t.branches))] for t in found)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        output.line("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    for sentence in said:
        output.line(f"  {sentence[0].upper()}{sentence[1:]}.")
    output.line("")


def _share(q: "Quantity") -> str:
    return f"{q.value:.1%} ({q.low:.1%} to {q.high:.1%})".replace("%", "")


def _json(plan: "Plan", found: "tuple[Technique, ...]", said: tuple[str, ...]) -> dict[str, Any]:
    rows = [
        {
            "name": t.name,
            **{key: getattr(t, key).as_json() for key in ("gutta", "sealer", "void")},
            "branches": [b.as_json() for b in t.branches],
        }
        for t in found
    ]
    return {"canal": plan.canal.name, "techniques": rows, "doubts": list(said)}
