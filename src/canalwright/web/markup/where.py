"""Where from? One number's value, interval, provenance, formula and source."""

from collections.abc import Mapping, Sequence

from canalwright.planning import Plan
from canalwright.planning.inputs_said import said as in_words
from canalwright.quantities import Origin, Quantity
from canalwright.report import Item
from canalwright.report.words import interval
from canalwright.web.formulas import formula_of
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.numbers import bar
from canalwright.web.words import Words

FROM_5_TO_95 = "5–95 % interval"
AS_READ = "none reckoned: it follows from the values as read"


def where_from(item: Item, plan: Plan, words: Words) -> Safe:
    """The answer, for the dialogue."""
    return _dialogue(item.words, rows_of(item, plan, words), words)


def rows_of(item: Item, plan: Plan, words: Words) -> Safe:
    """The answer without title and button."""
    q = item.quantity
    between = interval(q, item.digits).replace(" to ", words(" to "))
    leading = _leading(q.leading, plan, words) if q.leading else ""
    rows = _rows(q, item.value, between, item.unit, leading, words)
    return _listed(_drawn(q), [*rows, *_found(item.key, words)])


def said(
    name: str,
    q: Quantity,
    value: str,
    between: str,
    unit: str,
    words: Words,
    *,
    key: str = "",
    kind: str = FROM_5_TO_95,
    as_read: bool = False,
) -> Safe:
    """The answer for a number that belongs to no plan: `value`, interval `between` (of which `kind`; none where it is empty) and `unit` as
    they are shown; `as_read` where no interval was reckoned. How it is found stands under `key`, by default `named.` and its name."""
    rows = rows_said(name, q, value, between, unit, words, key=key, kind=kind, as_read=as_read)
    return _dialogue(name, rows, words)


def rows_said(
    name: str,
    q: Quantity,
    value: str,
    between: str,
    unit: str,
    words: Words,
    *,
    key: str = "",
    kind: str = FROM_5_TO_95,
    as_read: bool = False,
) -> Safe:
    """The same without title and button."""
    leading = words(in_words(q.leading)) if q.leading else ""
    computed = AS_READ if as_read else "the same in all draws"
    exact = computed if q.source.origin is Origin.COMPUTED else "set, without spread"
    rows = _rows(q, value, between, unit, leading, words, kind, exact if kind == FROM_5_TO_95 else "")
    return _listed(_drawn(q), [*rows, *_found(key or f"named.{name}", words)])


def live(
    name: str, words: Words, *, key: str, places: Mapping[str, str], spread: bool = False, as_read: str = ""
) -> dict[str, str]:
    """What the browser needs for a number that it writes itself (`static/figure.js`): title, answer, and the word for asking.

    `places`: what the number belongs to (a row of the answer) and the part of the page that says it. With `spread` the number has an
    interval; without, `as_read` says why it has none.
    """
    rows: list[tuple[str, Safe | str]] = [
        (words("value"), _now(".value")),
        (words(FROM_5_TO_95), _now(".interval") if spread else words(as_read) if as_read else ""),
        *((words(title), _now(where)) for title, where in places.items()),
        (words("kind of source"), _now("source") if not as_read else words(Origin.COMPUTED.value)),
        *_found(key, words),
    ]
    return {"title": name, "said": _dialogue(name, _listed(Safe(""), rows), words), "asks": words("Where from?")}


def _now(what: str) -> Safe:
    """A place that the browser fills in when the number is asked for."""
    return el("span", data_now=what)


def _found(key: str, words: Words) -> list[tuple[str, str]]:
    """How the number of a key is found, what that leaves out, and its source."""
    formula = formula_of(key)
    if formula is None:
        return []
    return [
        (words("how it is found"), words(formula.how)),
        (words("leaves out"), words(formula.leaves_out)),
        (words("source"), words(formula.source)),
    ]


def _rows(
    q: Quantity,
    value: str,
    between: str,
    unit: str,
    leading: str,
    words: Words,
    kind: str = FROM_5_TO_95,
    exact: str = "set, without spread",
) -> list[tuple[str, str]]:
    rows = [
        (words("value"), f"{value} {unit}"),
        (words(kind), words(exact) if q.high == q.low else f"{between} {unit}"),
        (
            words("kind of source"),
            words(q.source.origin.value) + (f": {words(q.source.detail)}" if q.source.detail else ""),
        ),
    ]
    if q.high > q.low and (q.supposed or leading):
        rows.append((words("rests on averages or assumptions"), f"{100 * q.supposed:.0f} %"))
        if leading:
            rows.append((words("most of the doubt comes from"), leading))
    return rows


def _drawn(q: Quantity) -> Safe:
    spread = q.high - q.low
    return bar(q, q.low - 0.25 * spread, q.high + 0.25 * spread) if 0 < spread < float("inf") else Safe("")


def _listed(picture: Safe, rows: Sequence[tuple[str, Safe | str]]) -> Safe:
    listed = el("dl", *(join(el("dt", name), el("dd", value)) for name, value in rows if value), class_="where-rows")
    return join(picture, listed)


def _dialogue(name: str, told: Safe, words: Words) -> Safe:
    return join(
        el("h2", words(name), id="where-title"),
        told,
        el("form", el("button", words("Close"), class_="button main", autofocus=True), method="dialog"),
    )


def _leading(name: str, plan: Plan, words: Words) -> str:
    """The input that leads, in words, with where it came from when the canal says so."""
    told = words(in_words(name))
    reading = plan.canal.errors.get(name)
    return f"{told} ({words(reading.source.origin.value)})" if reading else told
