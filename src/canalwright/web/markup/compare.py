"""Two plans beside each other: what was chosen for each, and their numbers in one table."""

from canalwright.planning import Choices, Plan
from canalwright.protocol import Heat
from canalwright.quantities import Quantity
from canalwright.report.words import figure, interval, percent
from canalwright.web.choosing import RANGES, to_query
from canalwright.web.markup.controls import SLIDERS
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.ready import CHOSEN, answering
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
        ("Greatest rise on the root surface", "K", "heat.surface_rise", [p.heat.surface_rise for p in (a, b)], 1),
        ("Longest safe activation", "s", "heat.longest_activation", [p.heat.longest_activation for p in (a, b)], 1),
        ("Root surface above 47 °C", "s", "heat.above_47", [p.heat.above_47 for p in (a, b)], 1),
        ("Soft down to", "mm", "round.1.front", [p.rounds[-1].front for p in (a, b)], 1),
        ("Gutta-percha in the filling", "%", "fill.gutta", [percent(p.fill.gutta) for p in (a, b)], 0),
        (
            "Stress in the wall, of its strength",
            "%",
            "fill.root_ratio",
            [percent(p.fill.root_ratio) for p in (a, b)],
            0,
        ),
        ("Rounds", "", "setting.rounds", [Quantity.exact(len(p.rounds), "", CHOSEN) for p in (a, b)], 0),
        ("Heat in all", "s", "setting.heat", [Quantity.exact(_heated(p), "s", CHOSEN) for p in (a, b)], 1),
    ]
    body = [
        el(
            "tr",
            el("th", f"{words(name)}, {unit}" if unit else words(name), scope="row"),
            *(
                el("td", _number(f"{words(name)}, {side}", q, digits, key, words))
                for side, q in zip("AB", both, strict=True)
            ),
        )
        for name, unit, key, both, digits in rows
    ]
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


def _number(name: str, q: Quantity, digits: int, key: str, words: Words) -> Safe:
    """A number that says where it is from, its unit at the head of the row."""
    between = interval(q, digits).replace(" to ", words(" to ")) if q.high > q.low else ""
    return answering(name, q, (figure(q.value, digits), between, q.unit), words, key=key, headed=True)


def _heated(plan: Plan) -> float:
    """Seconds of all activations together."""
    return sum(act.seconds for act in plan.protocol.acts if isinstance(act, Heat))
