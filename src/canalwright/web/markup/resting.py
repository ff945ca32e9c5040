"""What a finding rests on: each number that its sentence speaks of, with value, interval, provenance, formula and source.

One button for each finding asks for all of them: a number inside a sentence would be too small a target for a gloved finger, and would
read differently in each language.
"""

from canalwright.planning import Plan
from canalwright.planning.parts import Finding
from canalwright.quantities import Quantity
from canalwright.report import Item, finding_words, sheet
from canalwright.report.ready import number_text
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.ready import parts
from canalwright.web.markup.where import rows_of, rows_said, where_from
from canalwright.web.words import Words

KEY = "finding."


def asks(finding: Finding, n: int, words: Words) -> Safe:
    """The button of finding number `n`; nothing where its sentence has no number of the plan."""
    if finding.quantity is None and not finding.rests:
        return Safe("")
    told = words("Where from?")
    return el(
        "button", told, type="button", class_="num asks", data_key=f"{KEY}{n}", aria_haspopup="dialog",
        aria_label=f"{told} {words(finding_words(finding)[1])}",
    )  # fmt: skip


def key_of(finding: Finding, plan: Plan) -> str:
    """The key under which the page of this plan asks for what a finding of it rests on; "" where it rests on no number."""
    rests = finding.quantity is not None or bool(finding.rests)
    return f"{KEY}{next(n for n, one in enumerate(sheet(plan).findings) if one is finding)}" if rests else ""


def answer(finding: Finding, plan: Plan, items: dict[str, Item], words: Words) -> Safe:
    """All that a finding rests on, for the dialogue; `items`: the numbers of the plan by key."""
    shown = _shown(plan, items)
    found: dict[int, tuple[str, Quantity]] = {}
    if finding.quantity is not None:
        found[id(finding.quantity)] = "", finding.quantity
    found |= {id(number.quantity): (number.name, number.quantity) for number in finding.rests}
    if len(found) == 1 and (alone := shown.get(next(iter(found)))) is not None:
        return where_from(alone, plan, words)
    each = [_one(shown.get(which), name, q, plan, words) for which, (name, q) in found.items()]
    close = el("form", el("button", words("Close"), class_="button main"), method="dialog", class_="stays")
    title = words(finding_words(finding)[1])
    title = el(
        "h2", title, id="where-title", class_="told", tabindex="-1", autofocus=True
    )  # a long answer is read from its head
    return join(title, *each, close)


def _one(item: Item | None, name: str, q: Quantity, plan: Plan, words: Words) -> Safe:
    if item is not None:
        return _part(words(item.words), rows_of(item, plan, words))
    value, between, unit = parts(number_text(q), words)
    return _part(words(name), rows_said(name, q, value, between, unit, words, as_read=q.high == q.low))


def _part(title: str, rows: Safe) -> Safe:
    return el("section", el("h3", title), rows, class_="where-one")


def _shown(plan: Plan, items: dict[str, Item]) -> dict[int, Item]:
    """The numbers of the plan by the quantity that they show; shares are shown in percent, which is another."""
    found = {id(item.quantity): item for item in items.values()}
    chances = {
        "cone.chance": plan.cone.chance,
        "fill.beyond_chance": plan.extrusion.chance,
        "fill.root_ratio": plan.fill.root_ratio,
    }
    chances |= {f"portal.{i}.chance": branch.chance for i, branch in enumerate(plan.fill.portals, 1)}
    return found | {id(q): items[key] for key, q in chances.items() if key in items}
