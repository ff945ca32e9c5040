"""The card: one page per canal for the chair, as PDF.

`card.typ`, bundled beside this file, lays the page out; everything it prints comes as JSON, already in words. The same
plan gives the same bytes anywhere. In another language than English every word goes through `Tongue`: the words of the
template (`PRINTED`), those of numbers and findings, and the labels of the drawings.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from canalwright.instruments import iso3630
from canalwright.planning.parts import Harm
from canalwright.planning.product import CAUTION, Plan
from canalwright.report.margin import draw_icon
from canalwright.report.marks import Kind
from canalwright.report.options import Options
from canalwright.report.palette import ISO_3630, LIGHT
from canalwright.report.pictures import rise_svg
from canalwright.report.ready import ready_line
from canalwright.report.section import section_svg, width_mm
from canalwright.report.svg import el
from canalwright.report.text import digest
from canalwright.report.typeset import typeset
from canalwright.report.words import Item, Table, finding_words, sheet

if TYPE_CHECKING:
    from canalwright.planning.story import Story

SCALES = (7.0, 6.5, 6.0, 5.5, 5.0, 4.5, 4.0, 3.5, 3.0)
ROOM, NARROW = 141.0, 0.9
MOST_LABELS, MOST_TRIMS, READABLE = 14, 6, 4.0
FILL_SHOWN = (".chance", ".void", ".beyond", ".root_ratio")
PRINTED = (
    "working length", "label", "date", "file", "paper point", "Cone", "cut off, mm", "tip, mm", "seats at", "within ½ mm %",
    "Pluggers", "≤ mm", "Heat margin", "to the 10 K limit", "Downpack", "carrier stop", "heat s", "bite", "plugger",
    "plugger stop", "hold s", "soft to", "rise K", "Backfill", "softens below", "needle stop", "from", "up to",
    "and {n} more, see the page", "Before the cone:", "What the numbers rest on:", "plan", "Findings", "worst first",
    "Heat and fill", "Greatest rise on the root surface by depth",
    "Longitudinal section with its ruler; every number also stands in the tables",
)  # fmt: skip
"""The words of the template itself."""
WORDS = frozenset({"title", "canal", "name", "interval", "words", "text", "part", "ready", "message", "action", "harm_said",
    "provenance", "caution", "unit"})  # fmt: skip
"""Keys of the card's data whose values are words."""
_OPTIONS = Options(font_size=9.5 * 25.4 / 72, text_factor=NARROW)


@dataclass(frozen=True)
class Tongue:
    """A language of the card: its code, `say` for a text, `draw` for the labels of a drawing (SVG), and how much wider it runs."""

    language: str = "en"
    say: Callable[[str], str] = str
    draw: Callable[[str], str] = str
    wider: float = 1.0


ENGLISH = Tongue()


def card(
    plan: Plan, story: "Story | None", path: str | Path, *, paper: str = "a4", label: str = "", date: str = "",
    tongue: Tongue = ENGLISH,
) -> Path:  # fmt: skip
    """Write the card of a plan to `path` (PDF) and return the path; arguments as for `card_pdf`."""
    target = Path(path)
    target.write_bytes(card_pdf(plan, story, paper=paper, label=label, date=date, tongue=tongue))
    return target


def card_pdf(
    plan: Plan,
    story: "Story | None" = None,
    *,
    paper: str = "a4",
    label: str = "",
    date: str = "",
    tongue: Tongue = ENGLISH,
) -> bytes:
    """The card as PDF bytes, always one page.

    `paper` is "a4" or "letter"; `label` a pseudonym of the patient and `date` as it shall be printed, both left
    blank for writing by hand when empty; `tongue`: the language it is in. Raises ValueError for another paper.
    """
    return typeset("card", card_data(plan, story, label=label, date=date, tongue=tongue), paper)


def card_data(plan: Plan, story: "Story | None", *, label: str, date: str, tongue: Tongue = ENGLISH) -> dict[str, Any]:
    """All that the template prints, as JSON types."""
    options = replace(_OPTIONS, text_factor=_OPTIONS.text_factor * tongue.wider)
    page, canal, sections = sheet(plan), plan.canal, _sections(plan, options)
    title = f"Card, tooth {canal.tooth.code}, {canal.name} canal"
    findings = [(f.harm is Harm.DANGER, *finding_words(f)) for f in page.findings]
    data = {
        "title": title,
        "tooth": str(canal.tooth.code),
        "kind": f"{tongue.say(canal.tooth.kind)}, {tongue.say(canal.tooth.side)}",
        "canal": canal.name,
        "reference": f"{tongue.say('from the')} {tongue.say(canal.reference)}",
        "length": _item(page.length) | {"source": str(canal.length.source)},
        "label": label,
        "date": date,
        "file": canal.file.name,
        "cone": {
            "name": page.cone_name, "items": [_item(i) for i in page.cone], "colour": _colour(plan.cone.cone.size),
        },
        "paper_point": plan.paper_point.name if plan.paper_point else "",
        "trim": _trims(plan, page.trim),
        "pluggers": [
            {"part": p.part, "name": p.plugger.name, "stop": _item(row[2]), "short": _item(row[3])}
            for p, row in zip(plan.pluggers, page.pluggers.rows, strict=True)
        ],
        "rounds": _table(page.rounds),
        "portions": _table(page.portions),
        "needles": ", ".join(dict.fromkeys(tongue.say(p.needle.name) for p in plan.portions)),
        "heat": [_item(i) for i in page.heat],
        "fill": [_item(i) for i in page.fill if i.key.endswith(FILL_SHOWN)],
        "setting": " · ".join(map(tongue.say, page.setting)),
        "ready": ready_line(plan.readiness) if plan.readiness else "",
        "findings": [
            dict(zip(("danger", "harm", "message", "action"), f, strict=True)) | {"harm_said": f[1]} for f in findings
        ],
        "provenance": list(page.provenance),
        "caution": CAUTION,
        "digest": digest(plan),
        "versions": ", ".join(f"{name} {version}" for name, version in sorted(plan.versions.items())),
        "sections": [tongue.draw(svg) for _, svg in sections],
        "large": [i for i, (scale, _) in enumerate(sections) if scale >= READABLE],
        "rise": tongue.draw(rise_svg(plan, story, width=40.0, height=28.0, options=options)) if story else "",
        "icons": {kind: _icon(kind) for kind in ("cone", "plugger", "carrier", "backfill", "front")},
    }  # fmt: skip
    said: dict[str, Any] = _said(data, tongue.say)
    return said | {"language": tongue.language, "words": {word: tongue.say(word) for word in PRINTED}}


def _said(data: Any, say: Callable[[str], str], key: str = "") -> Any:
    """The data with what stands under the keys of `WORDS` in another language."""
    if isinstance(data, dict):
        return {k: _said(v, say, k) for k, v in data.items()}
    if isinstance(data, list):
        return [_said(v, say, key) for v in data]
    if isinstance(data, str) and key == "interval" and " to " in data:
        return data.replace(" to ", say(" to "))
    return say(data) if isinstance(data, str) and key in WORDS else data


def _sections(plan: Plan, options: Options) -> list[tuple[float, str]]:
    """Scale and section at every scale that leaves room for the column beside it, largest first; the smallest in any case.

    Where rounds and portions are many, their labels are left to the tables.
    """
    labels = 3 + 2 * len(plan.rounds) + len(plan.portions)
    quiet = frozenset(["backfill"] * (labels > MOST_LABELS) + ["front"] * (labels - len(plan.portions) > MOST_LABELS))
    drawn = [(s, section_svg(plan, options=replace(options, scale=s, quiet=quiet))) for s in SCALES]
    return [(s, svg) for s, svg in drawn if width_mm(svg) <= ROOM] or drawn[-1:]


def _item(item: Item | str) -> dict[str, Any]:
    if isinstance(item, str):
        return {"text": item}
    return {"key": item.key, "words": item.words, "value": item.value, "interval": item.interval, "unit": item.unit}


def _table(table: Table) -> dict[str, Any]:
    return {
        "title": table.title,
        "columns": list(table.columns),
        "rows": [[_item(c) for c in row] for row in table.rows],
    }


def _trims(plan: Plan, table: Table) -> dict[str, Any]:
    """The rows of the trim table nearest to the planned cut, which is marked."""
    cuts = [abs(row.trim - plan.cone.trim.value) for row in plan.cone.table]
    near = sorted(sorted(range(len(cuts)), key=lambda i: cuts[i])[:MOST_TRIMS])
    chosen = min(range(len(cuts)), key=lambda i: cuts[i], default=-1)
    rows = [{"cells": [_item(c) for c in table.rows[i]], "chosen": i == chosen} for i in near]
    return {"title": table.title, "rows": rows}


def _colour(size: int | None) -> str:
    return ISO_3630[iso3630.colour(size)] if size in iso3630.SIZES and size is not None else ""


def _icon(kind: Kind) -> str:
    return el(
        "svg",
        draw_icon(LIGHT, kind, 2.0, 1.5),
        xmlns="http://www.w3.org/2000/svg",
        width="4mm",
        height="3mm",
        viewBox="0 0 4 3",
    )
