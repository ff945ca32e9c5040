"""A number on the page: value, interval, unit, and on a click where it comes from."""

from canalwright.quantities import Quantity
from canalwright.report import Item
from canalwright.report.words import interval
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words


def number(item: Item, words: Words, *, unit: bool = True, stacked: bool = False, bare: bool = False) -> Safe:
    """A button with the number and its interval; `stacked` puts the interval under it, for tables; `bare`: one that is set, without."""
    name, between = words(item.words), _interval(item, words)
    spoken = words(
        "{name}: {value} {unit}, {interval}. Where from?", name=name, value=item.value, unit=item.unit, interval=between
    )
    parts = [el("b", item.value, class_="value")]
    if unit and item.unit:
        parts.append(el("span", item.unit, class_="unit"))
    if not bare:
        parts.append(el("span", between, class_="interval"))
    return el(
        "button",
        *parts,
        type="button",
        class_="num stacked" if stacked else "num",
        data_key=item.key,
        aria_label=spoken,
        aria_haspopup="dialog",
    )


def bar(q: Quantity, low: float, high: float, *, limit: float | None = None) -> Safe:
    """The interval drawn to scale between `low` and `high`, with a tick at a limit; no inline style, which the records forbid."""
    span = max(high - low, 1e-9)

    def place(value: float) -> float:
        return round(100 * min(max((value - low) / span, 0.0), 1.0), 2)

    left, right = place(q.low), place(q.high)
    parts = [
        el("rect", class_="spread", x=f"{left}%", width=f"{max(right - left, 0.5)}%", y=5, height=4, rx=2),
        el("circle", class_="dot", cx=f"{place(q.value)}%", cy=7, r=4.5),
    ]
    if limit is not None:
        parts.append(el("rect", class_="limit", x=f"{place(limit)}%", width=2, y=-2, height=18))
    return el("svg", *parts, class_="bar", aria_hidden="true", focusable="false")


def described(items: tuple[Item, ...], words: Words) -> Safe:
    """Numbers as a list of names and values."""
    return el("dl", *(join(el("dt", words(i.words)), el("dd", number(i, words))) for i in items), class_="numbers")


def _interval(item: Item, words: Words) -> str:
    q = item.quantity
    if item.chosen and q.low == q.high:
        return words("set")
    return interval(q, item.digits).replace(" to ", words(" to "))
