"""Two plans beside each other: what was chosen for each, and their numbers in one table."""

from canalwright.planning import Choices, Plan
from canalwright.protocol import Heat
from canalwright.quantities import Quantity
from canalwright.report.words import figure, interval
from canalwright.web.choosing import RANGES, to_query
from canalwright.web.markup.controls import SLIDERS
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words


def transport(words: Words, queries: list[str]) -> Safe:
    """One clock for both."""
    return el(
        "section",
        el(
            "button", words("Play"), type="button", class_="button main", id="play", disabled=True,
            data_play=words("Play"), data_pause=words("Pause"),
        ),
        el("label", words("Time"), for_="scrub", class_="unseen"),
        el("input", type="range", id="scrub", min="0", max="1", step="0.1", value="0", disabled=True),
        el("p", el("span", "0.0", id="clock"), " s", class_="clock"),
        el("p", words("Change the choices in Plan; they come along to the right side."), class_="quiet"),
        id="both", class_="transport", aria_label=words("Player"), data_a=queries[0], data_b=queries[1],
        data_panel_axis=words("axis, °C"), data_panel_surface=words("root surface, °C"),
    )  # fmt: skip


def head(side: str, choices: Choices, words: Words) -> Safe:
    """What one side is."""
    return join(
        el("h2", f"{side}: ", chosen(choices, words)),
        el("p", "", class_="act-now", id=f"act-{side.lower()}"),
    )


def chosen(choices: Choices, words: Words) -> str:
    """The choices in words, or that all was left to the planner."""
    if not to_query(choices):
        return words("as planned")
    standard, titles = Choices(), dict(SLIDERS)
    told = []
    for key, span in RANGES.items():
        value = getattr(choices, key)
        if value != getattr(standard, key):
            told.append(f"{words(titles[key])} {value:.{span.digits}f} {span.unit}".strip())
    told += [str(v) for v in (choices.carrier, choices.cone, choices.sealer) if v]
    told += [" / ".join(choices.pluggers)] if choices.pluggers else []
    return ", ".join(told)


def table(a: Plan, b: Plan, words: Words) -> Safe:
    """The numbers that decide, A and B."""
    rows = [
        ("Greatest rise on the root surface", "K", a.heat.surface_rise, b.heat.surface_rise, 1),
        ("Longest safe activation", "s", a.heat.longest_activation, b.heat.longest_activation, 1),
        ("Root surface above 47 °C", "s", a.heat.above_47, b.heat.above_47, 1),
        ("Soft down to", "mm", a.rounds[-1].front, b.rounds[-1].front, 1),
        ("Gutta-percha in the filling", "%", _percent(a.fill.gutta), _percent(b.fill.gutta), 0),
        ("Stress in the wall, of its strength", "%", _percent(a.fill.root_ratio), _percent(b.fill.root_ratio), 0),
    ]
    body = [
        el(
            "tr",
            el("th", f"{words(name)}, {unit}", scope="row"),
            *(
                el("td", el("b", figure(q.value, digits)), " ", el("span", interval(q, digits), class_="quiet"))
                for q in (x, y)
            ),
        )
        for name, unit, x, y, digits in rows
    ]
    body.append(_plain(words("Rounds"), str(len(a.rounds)), str(len(b.rounds))))
    body.append(
        _plain(
            words("Heat in all, s"),
            *(f"{sum(t.seconds for t in p.protocol.acts if isinstance(t, Heat)):.1f}" for p in (a, b)),
        )
    )
    top = el(
        "tr",
        el("th", el("span", words("number"), class_="unseen"), scope="col"),
        el("th", "A", scope="col"),
        el("th", "B", scope="col"),
    )
    whole = el("table", el("thead", top), el("tbody", *body))
    return join(
        el("h2", words("Side by side")),
        el("div", whole, class_="scroll", tabindex="0", role="region", aria_label=words("Side by side")),
    )  # fmt: skip


def _plain(name: str, a: str, b: str) -> Safe:
    return el("tr", el("th", name, scope="row"), el("td", el("b", a)), el("td", el("b", b)))


def _percent(q: Quantity) -> Quantity:
    return Quantity(100 * q.value, 100 * q.low, 100 * q.high, "%", q.source, q.supposed, q.leading)
