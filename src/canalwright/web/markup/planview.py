"""A plan as the page shows it: headline, findings, tables, heat, provenance."""

from collections import Counter
from collections.abc import Mapping, Sequence

from canalwright.instruments import iso3630
from canalwright.planning import Plan
from canalwright.planning.parts import Finding, Harm
from canalwright.planning.practice import RISE_LIMIT
from canalwright.protocol import Heat
from canalwright.quantities import Quantity
from canalwright.report import ISO_3630, Item, Sheet, Table, finding_words, sheet
from canalwright.web.markup import resting
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.numbers import bar, described, number
from canalwright.web.markup.ready import CHOSEN
from canalwright.web.markup.where import where_from
from canalwright.web.words import Words

SET = ("cut", "tip")
"""The columns of the trim table that are set, not predicted."""
WORST = 3
"""Findings that stand in the first view; all dangers do."""
SHAPES = {
    "danger": "M8 1h8l7 7v8l-7 7H8l-7-7V8zM12 6v8M12 17v1.4",
    "caution": "M12 2 23 22H1zM12 9v7M12 18v1.4",
    "doubt": "M12 1a11 11 0 1 0 .01 0zM8.6 9a3.4 3.4 0 1 1 4.8 3.1q-1.4.8-1.4 2.6M12 17v1.4",
    "note": "M2 2h20v20H2zM12 10v7M12 6.4v1.2",
}


def harm_icon(harm: str) -> Safe:
    """A shape of its own for each harm, so that nothing rests on colour."""
    path = el("path", d=SHAPES[harm])
    return el("svg", path, class_=f"harm-icon {harm}", viewBox="0 0 24 24", aria_hidden="true")


def all_items(plan: Plan) -> dict[str, Item]:
    """Each number of the plan by its key: what `where from?` is asked about."""
    page = sheet(plan)
    found = {item.key: item for item in (page.length, *page.cone, *page.heat, *page.fill)}
    for table in (page.trim, page.pluggers, page.rounds, page.portions):
        found |= {cell.key: cell for row in table.rows for cell in row if isinstance(cell, Item)}
    return found | _set(plan)


def answer(plan: Plan, key: str, words: Words) -> Safe | None:
    """Where the number of a key is from, or all that a finding rests on; None for a key that this plan has not."""
    items, found = all_items(plan), sheet(plan).findings
    if key in items:
        return where_from(items[key], plan, words)
    number = key.removeprefix(resting.KEY)
    known = key.startswith(resting.KEY) and number.isdecimal() and int(number) < len(found)
    return resting.answer(found[int(number)], plan, items, words) if known else None


def headline(plan: Plan, words: Words) -> Safe:
    """The numbers that decide, large: margin outside, longest activation, how far it softens, where the cone seats."""
    items = all_items(plan)
    rise = plan.heat.surface_rise
    last = f"round.{len(plan.rounds)}.front"
    cards = [
        (
            items["heat.surface_rise"],
            "Outside warms by",
            bar(rise, 0.0, 20.0, limit=RISE_LIMIT),
            words("limit 10 K"),
        ),
        (items["heat.longest_activation"], "Longest safe activation", Safe(""), words("last round")),
        (items["cone.chance"], "Cone within 0.5 mm of WL", Safe(""), _cut(plan, words)),
    ]
    if last in items:
        level = plan.canal.working_length - plan.rounds[-1].front.value
        cards.insert(2, (items[last], "Soft down to", Safe(""), words("{mm} mm short of WL", mm=f"{level:.1f}")))
    figures = (
        el(
            "div",
            el("h3", words(title)),
            number(item, words),
            drawn,
            el("p", note, class_="quiet"),
            class_="figure",
        )
        for item, title, drawn, note in cards
    )
    return join(el("h2", words("Plan"), class_="unseen"), el("div", *figures, class_="headline"))


def spoken(plan: Plan, words: Words, final: bool) -> str:
    """What a screen reader is told when numbers have changed."""
    heat, page = plan.heat, sheet(plan)
    worst = finding_words(page.findings[0])[1] if page.findings else ""
    told = words(
        "Root surface rise {rise} K, {low} to {high}. Longest safe activation {longest} s.",
        rise=f"{heat.surface_rise.value:.1f}",
        low=f"{heat.surface_rise.low:.1f}",
        high=f"{heat.surface_rise.high:.1f}",
        longest=f"{heat.longest_activation.value:.1f}",
    )
    return " ".join(filter(None, (told, words(worst) if worst else "", "" if final else words("Being refined."))))


def worst(plan: Plan, words: Words) -> Safe:
    """The verdict, how many findings of each harm there are, and the worst of them: every danger, three at least."""
    found = sheet(plan).findings
    if not found:
        told = el("p", words("Nothing found that stands against this plan."), class_="quiet")
        return join(el("h2", words("Findings, worst first"), id="h-findings"), told)
    counts = Counter(finding_words(f)[0] for f in found)
    counted = [el("span", harm_icon(harm), f"{n} ", words(harm), class_="counted") for harm, n in counts.items()]
    head = el("h2", words("Findings, worst first"), id="h-findings")
    shown = _shown(plan)
    rest = len(found) - shown
    more = el("a", words("and {n} more below", n=rest), href="#more-findings") if rest else ""
    return join(el("div", head, *counted, more, class_="worst-head"), _findings(found[:shown], 0, words))


def other_findings(plan: Plan, words: Words) -> Safe:
    """The findings that are not among the worst."""
    first = _shown(plan)
    found = sheet(plan).findings[first:]
    if not found:
        return Safe("")
    return el(
        "section", el("h2", words("More findings"), id="h-more"), _findings(found, first, words), class_="part", id="more-findings",
        aria_labelledby="h-more", tabindex="-1",
    )  # fmt: skip


def _shown(plan: Plan) -> int:
    return max(sum(f.harm is Harm.DANGER for f in plan.findings), WORST)


def _findings(found: Sequence[Finding], first: int, words: Words) -> Safe:
    """Findings in order, from number `first` on, each with what to do and what it rests on."""
    rows = []
    for n, finding in enumerate(found, first):
        harm, message, action = finding_words(finding)
        rows.append(
            el(
                "li",
                harm_icon(harm),
                el(
                    "div",
                    el("p", el("b", words(harm), class_="harm-word"), " ", words(message)),
                    el("p", words(action), class_="action"),
                    " ",
                    resting.asks(finding, n, words),
                ),
                class_=f"finding {harm}",
            )
        )
    return el("ul", *rows, class_="findings")


def tables(plan: Plan, words: Words) -> Safe:
    """Cone and trim, pluggers, rounds, portions, heat and fill."""
    page = sheet(plan)
    cut = plan.cone.trim.value
    near = min((abs(r.trim - cut) for r in plan.cone.table), default=0.0)
    marked = [i for i, r in enumerate(plan.cone.table) if abs(r.trim - cut) == near]
    return join(
        _part(
            "cone",
            words("Master cone"),
            words,
            el("p", swatch(plan.cone.cone.size), page.cone_name, class_="instrument"),
            described(page.cone, words),
            _table(page.trim, words, marked, _set(plan)),
        ),
        _part("pluggers", words("Pluggers"), words, _table(page.pluggers, words)),
        _part(
            "rounds",
            words("Downpack"),
            words,
            el("p", ", ".join(map(words, page.setting)), class_="instrument"),
            _setting(plan, words),
            _table(page.rounds, words),
        ),
        _part("portions", words("Backfill"), words, _table(page.portions, words)),
        _part("heat", words("Heat"), words, described(page.heat, words)),
        _part("fill", words("Fill"), words, described(page.fill, words)),
        _part("provenance", words("What the numbers rest on"), words, _provenance(page, words)),
    )


def swatch(size: int | None) -> Safe:
    """The ISO 3630-1 colour of a size; always beside its number."""
    if size not in iso3630.SIZES or size is None:
        return Safe("")
    return el("i", class_="swatch", style=f"background:{ISO_3630[iso3630.colour(size)]}", title=iso3630.colour(size))


def _cut(plan: Plan, words: Words) -> str:
    cut = plan.cone.trim.value
    return words("after cutting {mm} mm", mm=f"{cut:.1f}") if cut > 0 else words("tip left whole")


def _part(key: str, title: str, words: Words, *inside: Safe) -> Safe:
    return el(
        "section", el("h2", title, id=f"h-{key}"), *inside, class_="part", id=f"part-{key}", aria_labelledby=f"h-{key}"
    )


def _set(plan: Plan) -> dict[str, Item]:
    """What is set and not predicted, by key: the rows of the trim table, and what goes for all rounds."""
    found = [
        item
        for i, r in enumerate(plan.cone.table)
        for item in (
            Item(f"trim.{i}.cut", "cut off the tip", Quantity.exact(r.trim, "mm", CHOSEN)),
            Item(f"trim.{i}.tip", "width of the tip then", Quantity.exact(r.tip, "mm"), 2),
        )
    ]
    heats = sorted({act.temperature for act in plan.protocol.acts if isinstance(act, Heat)})
    found += [
        Item(f"setting.{i}.temperature", "carrier set to", Quantity.exact(t, "°C", CHOSEN), 0)
        for i, t in enumerate(heats)
    ]
    found.append(Item("setting.force", "each press with", Quantity.exact(plan.choices.force, "N", CHOSEN), 0))
    return {item.key: item for item in found}


def _setting(plan: Plan, words: Words) -> Safe:
    """What is set for all rounds, each answering where it is from."""
    found = [item for key, item in _set(plan).items() if key.startswith("setting.")]
    return el(
        "dl",
        *(join(el("dt", words(i.words)), el("dd", number(i, words, bare=True))) for i in found),
        class_="numbers",
    )


def _table(
    table: Table, words: Words, marked: list[int] | None = None, known: Mapping[str, Item] | None = None
) -> Safe:
    """A table of the plan; `known`: what its words stand for where that is a number that is set."""
    head = el(
        "tr",
        *(
            el("th", words(c) if c else el("span", words("number"), class_="unseen"), scope="col")
            for c in table.columns
        ),
    )
    body = [
        el(
            "tr",
            *(
                el("td", number(cell, words, unit=False, stacked=True))
                if isinstance(cell, Item)
                else el(
                    "td",
                    _word(cell, known.get(f"{table.key}.{i}.{SET[n]}") if known and n < len(SET) else None, words),
                    class_="word",
                )
                for n, cell in enumerate(row)
            ),
            class_="chosen" if marked and i in marked else None,
            aria_current="true" if marked and i in marked else None,
        )
        for i, row in enumerate(table.rows)
    ]
    whole = el("table", el("caption", words(table.title), class_="unseen"), el("thead", head), el("tbody", *body))
    return el("div", whole, class_="scroll", tabindex="0", role="group", aria_label=words(table.title))


def _word(cell: str, item: Item | None, words: Words) -> Safe | str:
    return number(item, words, unit=False, bare=True) if item is not None else words(cell)


def _provenance(page: Sheet, words: Words) -> Safe:
    return el("ul", *(el("li", words(line)) for line in page.provenance), class_="rests")
