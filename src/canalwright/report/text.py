"""A plan as plain text for a terminal, and as JSON for programs."""

import hashlib
import json
from collections.abc import Sequence
from typing import Any

from canalwright.planning.product import CAUTION, Plan
from canalwright.report.ready import ready_json
from canalwright.report.words import HARM_WORDS, Item, Table, finding_words, sheet


def plan_text(plan: Plan) -> str:
    """The whole plan in plain text, about 100 columns wide, with the interval of every number and the caution."""
    page = sheet(plan)
    canal = page.canal
    lines = [
        f"Tooth {canal.tooth}, {canal.name} canal",
        f"Working length {item_text(page.length)} from the {canal.reference}: {canal.length.source}",
        "",
        f"Master cone {page.cone_name}, file {canal.file.name}",
        *(f"  {item.words}: {item_text(item)}" for item in page.cone),
        "",
    ]
    for table in (page.trim, page.pluggers, page.rounds, page.portions):
        lines += [*_table_text(table), ""]
    lines += ["Heat", *(f"  {item.words}: {item_text(item)}" for item in page.heat), f"  {', '.join(page.setting)}", ""]
    lines += ["Fill", *(f"  {item.words}: {item_text(item)}" for item in page.fill), ""]
    if page.findings:
        lines += ["Findings, worst first"]
        for finding in page.findings:
            harm, message, action = finding_words(finding)
            lines += [f"  {harm.upper()}: {message}", f"    {action}"]
        lines.append("")
    lines += ["What the numbers rest on", *(f"  {line}" for line in page.provenance), "", CAUTION]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def item_text(item: Item) -> str:
    """A number with interval and unit: `16.1 mm (15.7–16.7)`."""
    return f"{item.value} {item.unit}".strip() + f" ({item.interval})"


def plan_json(plan: Plan) -> dict[str, Any]:
    """The plan in plain JSON types; each number is an object with value, low, high, unit, source, supposed, leading.

    Lengths are depths from the reference point in mm unless the key says otherwise.
    """
    canal, page = plan.canal, sheet(plan)
    return {
        "tooth": {
            "iso3950": canal.tooth.code, "universal": canal.tooth.universal, "kind": canal.tooth.kind,
            "side": canal.tooth.side,
        },
        "canal": canal.name,
        "reference_point": canal.reference,
        "working_length": page.length.quantity.as_json(),
        "file": {"name": canal.file.name, "size": canal.file.size},
        "cone": {
            "name": plan.cone.cone.name,
            **_items_json(page.cone[:-1], "cone."),
            "chance": plan.cone.chance.as_json(),
            "trim_table": [
                {"trim_mm": r.trim, "tip_mm": r.tip, "seat": r.seat.as_json(), "chance": r.chance.as_json()}
                for r in plan.cone.table
            ],
        },
        "paper_point": plan.paper_point.name if plan.paper_point else None,
        "pluggers": [
            {
                "part": p.part, "plugger": p.plugger.name, "stop": p.stop.as_json(), "reach": p.reach.as_json(),
                "short_of_end": p.short_of_end.as_json(),
            }
            for p in plan.pluggers
        ],
        "carrier": plan.carrier.name,
        "sealer": plan.sealer.name if plan.sealer else None,
        "reaches": [
            {
                "kind": r.kind, "name": r.name, "depth": r.depth.as_json(), "short_of_end": r.short_of_end.as_json(),
                "stopped_by": r.stopped_by,
            }
            for r in plan.reaches
        ],
        "rounds": [
            {"number": r.number, "plugger": r.plugger.name, **_row_json(row)}
            for r, row in zip(plan.rounds, page.rounds.rows, strict=True)
        ],
        "portions": [
            {"number": p.number, "needle": p.needle.name, "plugger": p.plugger.name, **_row_json(row)}
            for p, row in zip(plan.portions, page.portions.rows, strict=True)
        ],
        "backfill_top": plan.backfill_top.as_json(),
        "backfill_reason": plan.backfill_reason,
        "heat": _items_json([item for item in page.heat if item.key.startswith("heat.")], "heat."),
        "fill": {item.key.removeprefix("fill."): item.quantity.as_json() for item in page.fill},
        "chance_beyond_terminus": plan.extrusion.chance.as_json(),
        "sealer_volume": plan.sealer_volume.as_json(),
        "findings": [
            {
                "harm": HARM_WORDS[f.harm], "code": f.code, "message": f.message, "action": f.action,
                "quantity": f.quantity.as_json() if f.quantity else None,
            }
            for f in page.findings
        ],
        "readiness": ready_json(plan.readiness) if plan.readiness else None,
        "supposed": plan.supposed,
        "leading": [{"input": name, "share": share} for name, share in plan.leading],
        "sources": {key: {"origin": s.origin.value, "detail": s.detail} for key, s in canal.sources.items()},
        "versions": dict(plan.versions),
        "caution": CAUTION,
    }  # fmt: skip


def digest(plan: Plan) -> str:
    """Twelve hexadecimal digits that change when anything that the plan says changes."""
    written = json.dumps(plan_json(plan), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()[:12]


def _items_json(items: Sequence[Item], prefix: str) -> dict[str, Any]:
    return {item.key.removeprefix(prefix): item.quantity.as_json() for item in items}


def _row_json(row: tuple[Item | str, ...]) -> dict[str, Any]:
    return {cell.key.rsplit(".", 1)[-1]: cell.quantity.as_json() for cell in row if isinstance(cell, Item)}


def _table_text(table: Table) -> list[str]:
    rows = [[c if isinstance(c, str) else f"{c.value} ({c.interval})" for c in row] for row in table.rows]
    widths = [max(len(cell) for cell in column) for column in zip(table.columns, *rows, strict=True)]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        for row in [list(table.columns), *rows]
    ]
    return [table.title, *(f"  {line}" for line in lines)]
