"""The verdict before the cone: item by item, with numbers, intervals and what to do; and what all parts of the page share."""

from collections.abc import Iterable, Mapping, Sequence

from canalwright.quantities import Origin, Quantity, Source
from canalwright.readiness import Item, Readiness, Verdict
from canalwright.report.ready import number_text
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.where import FROM_5_TO_95, said
from canalwright.web.words import Words

CHOSEN = Source(Origin.ASSUMED, "chosen, not predicted")
KINDS = {Verdict.READY: "ready", Verdict.UNKNOWN: "unknown", Verdict.LOOK: "look", Verdict.NOT_READY: "not-ready"}
PLACES = {
    "length": "length", "shape": "shape", "file": "shape", "gauge": "dry", "needle": "bath", "contact time": "bath",
    "sequence": "bath", "dryness": "dry",
}  # fmt: skip
_ICONS = {
    Verdict.READY: "M4 12.5l5 5L20 6.5",
    Verdict.UNKNOWN: "M8.5 9a3.5 3.5 0 1 1 5 3.2c-1 .5-1.5 1.1-1.5 2.3M12 18.5v.2",
    Verdict.LOOK: "M12 4v10M12 18.5v.2",
    Verdict.NOT_READY: "M6 6l12 12M18 6L6 18",
}


def verdict(found: Readiness, words: Words) -> Safe:
    """The whole verdict, worst first; each item leads to its part of the page."""
    worst = sorted(found.items, key=lambda i: -i.verdict)
    ready = sum(i.verdict is Verdict.READY for i in found.items)
    count = words("{ready} of {all} items ready", ready=ready, all=len(found.items))
    head = el(
        "p",
        icon(found.verdict),
        el("b", words(found.verdict.words)),
        el("span", count, class_="quiet"),
        class_=f"rd-verdict {KINDS[found.verdict]}",
        data_verdict=found.verdict.name.lower(),
    )
    return join(head, el("ol", *(_item(i, words) for i in worst), class_="rd-items"))


def _item(item: Item, words: Words) -> Safe:
    title = el(
        "a",
        el("b", words(item.name)),
        " ",
        el("span", words(item.verdict.words), class_="rd-state"),
        href=f"#{PLACES[item.name]}",
    )
    inside = [title, el("p", words(item.message))]
    if item.action:
        inside.append(el("p", words(item.action), class_="rd-action"))
    if item.numbers:
        inside.append(numbers(((n.name, n.quantity) for n in item.numbers), words))
    kind = KINDS[item.verdict]
    return el("li", icon(item.verdict), el("div", *inside), class_=f"rd-item {kind}", data_item=item.name)


def icon(found: Verdict) -> Safe:
    """A sign for a verdict, so that colour is not all that tells it."""
    path = el("path", d=_ICONS[found], fill="none", stroke="currentColor", stroke_width="2.6", stroke_linecap="round")
    return el("svg", path, viewBox="0 0 24 24", class_="rd-icon", aria_hidden="true")


def numbers(found: Iterable[tuple[str, Quantity]], words: Words) -> Safe:
    """Names and values with their intervals; each says on a click where it is from."""
    rows = [join(el("dt", words(name)), el("dd", asked(name, q, words))) for name, q in found]
    return el("dl", *rows, class_="rd-numbers")


def asked(name: str, q: Quantity, words: Words) -> Safe:
    """A button with the number, its interval and unit; what it answers comes with it."""
    value, between, unit = parts(number_text(q), words)
    return answering(name, q, (value, between, unit), words)


def answering(
    name: str, q: Quantity, shown: tuple[str, str, str], words: Words, *, key: str = "", kind: str = FROM_5_TO_95,
    headed: bool = False, as_read: bool = False,
) -> Safe:  # fmt: skip
    """The same for a number whose value, interval (of a `kind`; '' where it has none) and unit are written already; how it is found stands
    under `key`."""
    value, between, unit = shown
    parts: list[Safe | str] = [el("b", value, class_="value")]
    if between:
        parts += [" ", el("span", f"({between})", class_="interval")]
    if unit and not headed:
        parts.append(f" {unit}")
    spoken = (
        words(
            "{name}: {value} {unit}, {interval}. Where from?",
            name=words(name),
            value=value,
            unit=unit,
            interval=between,
        )
        if between
        else words("{name}: {value} {unit}. Where from?", name=words(name), value=value, unit=unit)
    )
    return el(
        "button",
        el("span", *parts, class_="rd-figure"),
        type="button",
        class_="num",
        data_said=said(name, q, value, between, unit, words, key=key, kind=kind, as_read=as_read),
        aria_label=spoken,
        aria_haspopup="dialog",
    )


def written(value: float, digits: int, sign: str = "") -> str:
    """A number to `digits`, no sign on what rounds to 0; `sign` is '+' where what lies above 0 says so."""
    text = f"{value:{sign}.{digits}f}"
    return (text.lstrip("+-") if float(text) == 0 else text).replace("-", "−")


def figure(
    name: str, q: Quantity, digits: int, words: Words, *, key: str, kind: str = FROM_5_TO_95, sign: str = "", bare: bool = False,
    headed: bool = False,
) -> Safe:  # fmt: skip
    """A number written to `digits`; one without unit, and a taper, in percent unless it is `bare`. `sign` is '+' where what lies above 0
    says so; `headed`: the unit stands at the head of its column."""
    share = q.unit in ("", "mm/mm") and not bare
    value, low, high = (written((100 if share else 1) * v, digits, sign) for v in (q.value, q.low, q.high))
    between = f"{low}{words(' to ')}{high}" if q.high > q.low else ""
    unit = "%" if share else words(q.unit.replace("mm3", "mm³")) if q.unit else ""
    return answering(name, q, (value, between, unit), words, key=key, kind=kind, headed=headed)


def reckoned(
    name: str,
    value: float,
    digits: int,
    unit: str,
    words: Words,
    *,
    key: str,
) -> Safe:
    """A number that is reckoned from the values as read, or by a rule, without an interval."""
    shown = (written(value, digits), "", words(unit) if unit else "")
    return answering(name, Quantity.exact(value, unit), shown, words, key=key, as_read=True)


def parts(told: str, words: Words) -> tuple[str, str, str]:
    """Value, interval and unit of a number with its interval, in the reader's words."""
    value, _, rest = told.partition(" (")
    between, _, unit = rest.partition(")")
    between = between.replace(" to ", words(" to ")).replace("without bound", words("without bound"))
    return value, between, words(unit.strip()) if unit.strip() else ""


def part(ident: str, title: str, *content: Safe) -> Safe:
    """One part of the page with its heading."""
    return el("section", el("h2", title, id=f"h-{ident}"), *content, class_="part", aria_labelledby=f"h-{ident}")


def table(
    columns: Sequence[str], rows: Sequence[Sequence[Safe | str]], caption: str, marked: Mapping[int, str] | None = None,
    *, grid: bool = False,
) -> Safe:  # fmt: skip
    """A table that scrolls sideways where it is too wide, reachable by keyboard; `marked`: classes of rows; `grid`: one stop of the Tab
    key for all of its numbers (`static/grid.js`)."""
    head = el("thead", el("tr", *(el("th", c, scope="col") for c in columns)))
    body = [el("tr", *(el("td", cell) for cell in row), class_=(marked or {}).get(i)) for i, row in enumerate(rows)]
    inside = el(
        "table", el("caption", caption, class_="unseen"), head, el("tbody", *body), role="grid" if grid else None
    )
    return el("div", inside, class_="scroll", tabindex="0", role="group", aria_label=caption)


def entry(
    ident: str,
    title: str,
    name: str,
    *,
    value: object = "",
    kind: str = "text",
    placeholder: str = "",
    needed: bool = False,
) -> Safe:
    """A field for a number in a form of notes."""
    return el(
        "div",
        el("label", title, for_=ident),
        el(
            "input", type=kind, id=ident, name=name, value=str(value), inputmode="decimal", autocomplete="off", maxlength=12,
            placeholder=placeholder, aria_required="true" if needed else None,
        ),
        class_="field",
    )  # fmt: skip


def choice(
    ident: str, title: str, name: str, options: Sequence[tuple[str, str]], chosen: str = "", **more: str
) -> Safe:
    """A field to choose in."""
    shown = [el("option", said, value=value, selected=value == chosen) for value, said in options]
    return el("div", el("label", title, for_=ident), el("select", *shown, id=ident, name=name, **more), class_="field")


def adding(kind: str, fields: Sequence[Safe], button: str) -> Safe:
    """A form that adds a row of a kind; what is wrong with it is told below."""
    return el(
        "form",
        el("div", *fields, el("button", button, type="submit", class_="button"), class_="fields rd-fields"),
        el("p", id=f"e-{kind}", class_="wrong", role="alert"),
        data_note=kind,
        novalidate=True,
    )


def noted(kind: str, rows: Sequence[str], words: Words, none: str) -> Safe:
    """The rows noted so far, each with a way to take it out."""
    if not rows:
        return el("p", none, class_="quiet rd-none")
    items = [
        el(
            "li",
            el("span", row),
            el(
                "button", "×", type="button", class_="rd-drop", data_drop=kind, data_at=i,
                aria_label=words("Take out: {row}", row=row),
            ),
        )
        for i, row in enumerate(rows)
    ]  # fmt: skip
    return el("ul", *items, class_="rd-noted")
