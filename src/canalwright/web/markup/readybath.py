"""Irrigation on the page: what was done, what the needle does, the budget for the chair, the order of the solutions."""

from typing import Any

from canalwright.anatomy import Canal
from canalwright.irrigation import SOLUTIONS, Budget, agitations, clashes
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

FIELDS = (
    ("percent", "Hypochlorite, %", "3"),
    ("temperature_C", "In the canal, °C", "33"),
    ("hypochlorite_s", "Hypochlorite in all, s", ""),
    ("chelator_s", "Chelator, s", ""),
    ("rate_mL_s", "Rate, mL/s", "0.1"),
)


def form(bath: dict[str, Any], words: Words) -> Safe:
    """What was done, each value told as it is changed."""
    fields = [
        el(
            "div",
            el("label", words(title), for_=f"n-{key}"),
            el(
                "input", type="text", id=f"n-{key}", value=_shown(bath.get(key)), inputmode="decimal", autocomplete="off",
                maxlength=12, placeholder=usual, data_bath=key, aria_describedby="e-bath",
            ),
            class_="field",
        )
        for key, title, usual in FIELDS
    ]  # fmt: skip
    ways = [(name, words(name)) for name in agitations()]
    chosen = str(bath.get("agitation") or "none")
    fields.insert(2, ready.choice("n-agitation", words("Agitation"), "agitation", ways, chosen, data_bath="agitation"))
    return join(el("div", *fields, class_="fields rd-fields"), el("p", id="e-bath", class_="wrong", role="alert"))


def budget(found: Budget, canal: Canal, words: Words) -> Safe:
    """Steps for the chair, and what they do to each pocket."""
    steps = [
        (
            str(i + 1),
            words(c.solution) + (f" {c.percent:g} %" if c.percent else ""),
            ready.reckoned("in the canal", c.seconds, 0, "s", words, key="bath.seconds")
            if c.seconds < 120
            else ready.reckoned("in the canal", c.seconds / 60, 1, "min", words, key="bath.seconds"),
            ready.reckoned("volume", c.volume, 0, "mL", words, key="bath.volume"),
            words(c.act),
            words(c.why),
        )
        for i, c in enumerate(found.contacts)
    ]
    columns = ["", *(words(c) for c in ("solution", "in the canal", "volume", "what to do", "why"))]
    reached = [
        (
            words(r.pocket.name) + (f" ({words('supposed')})" if r.pocket.supposed else ""),
            ready.reckoned("at depth", canal.depth(r.pocket.z), 1, "mm", words, key="pocket.place"),
            ready.reckoned("how deep", r.pocket.depth, 1, "mm", words, key="pocket.depth"),
            ready.asked("time for all of it", r.needs, words),
            ready.asked("dissolved in the budget", r.dissolved, words),
            words("yes") if r.done else words("no"),
        )
        for r in found.reached
    ]
    titles = [
        words(c)
        for c in ("tissue left in", "at depth", "how deep", "time for all of it", "dissolved in the budget", "all")
    ]
    title = words("Contact times for the chair")
    parts = [el("h3", title), ready.table(columns, steps, title)]
    if reached:
        parts.append(ready.table(titles, reached, words("What the budget does to each pocket")))
    parts += [el("p", words(w), class_="rd-note look") for w in found.warnings]
    return join(*parts)


def order(done: list[str], words: Words) -> Safe:
    """The order of the solutions as noted, with what must not meet marked in place."""
    if not done:
        return el("p", words("No solution noted yet."), class_="quiet rd-none")
    bad = {c.second: c for c in clashes(done)}
    items = []
    for i, name in enumerate(done):
        if i in bad:
            kind = "not-ready" if bad[i].severe else "look"
            items.append(el("li", words(str(bad[i])), class_=f"rd-clash {kind}"))
        drop = el(
            "button", "×", type="button", class_="rd-drop", data_order_drop=i,
            aria_label=words("Take out: {row}", row=f"{i + 1}. {words(name)}"),
        )  # fmt: skip
        items.append(el("li", el("span", f"{i + 1}. {words(name)}"), drop))
    return el("ol", *items, class_="rd-noted rd-order")


def adders(words: Words) -> Safe:
    """A key for each solution."""
    keys = [el("button", words(n), type="button", class_="button", data_solution=n) for n in SOLUTIONS]
    return el("div", *keys, class_="rd-keys", role="group", aria_label=words("Add the next solution"))


def refusal(name: str, reason: str, words: Words) -> Safe:
    """A solution that must not follow: the reason, and the two ways on."""
    return el(
        "div",
        el("p", el("b", words("Refused: ")), words(reason)),
        el(
            "p",
            el("button", words("Put saline between"), type="button", class_="button main", data_between=name),
            " ",
            el("button", words("It was done so: note it"), type="button", class_="button", data_anyway=name),
            class_="rd-ways",
        ),
        class_="rd-note not-ready",
        role="alert",
    )


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value or "")
