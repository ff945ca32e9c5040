"""Length on the page: every measurement and what all of them say together, drawn on one scale; what the next one would add."""

from canalwright.quantities import Quantity
from canalwright.readiness import Length, NextStep, method_names
from canalwright.report.ready_pictures import LANDMARKS, length_svg
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

NEXT_SHOWN = 5


def form(words: Words) -> Safe:
    """The form for one measurement of the length."""
    methods = [(name, words(name)) for name in method_names() if name != "paper point"] + [
        ("paper point", words("paper point"))
    ]
    fields = (
        ready.choice("n-method", words("How"), "method", methods),
        ready.entry("n-value", words("Length, mm"), "value_mm", needed=True),
        ready.entry("n-error", words("Its error, mm"), "error_mm", placeholder=words("published")),
    )
    return ready.adding("lengths", fields, words("Add"))


def rows(lengths: list[dict[str, object]], words: Words) -> list[str]:
    """Measurements as lines."""
    shown = []
    for row in lengths:
        error = f", ± {row['error_mm']:g} mm" if row.get("error_mm") else ""
        shown.append(f"{words(str(row['method']))} {float(str(row['value_mm'])):g} mm{error}")
    return shown


def together(found: Length | None, planned: float, steps: tuple[NextStep, ...], words: Words) -> Safe:
    """What all measurements say: the picture, agreement or disagreement, the next measurement, the way to use it."""
    if found is None:
        return el("p", words("No measurement yet: a locator, a film or a paper point makes a start."), class_="quiet")
    parts = [Safe(length_svg(found, planned, words)), _agreement(found, words)]
    parts.append(ready.numbers(((name, getattr(found, name)) for name in LANDMARKS), words))
    if found.agrees:
        parts.append(_use(found.constriction, words))
        parts.append(_next(steps, words))
    return join(*parts)


def _agreement(found: Length, words: Words) -> Safe:
    if len(found.soundings) < 2:
        told = words("One measurement alone cannot be borne out; another of a different kind would show a blunder.")
        return el("p", told, class_="rd-note look")
    chance = f"{found.chance:.0%}"
    if found.agrees:
        told = words(
            "They agree: errors of measuring alone make such differences in {chance} of canals.", chance=chance
        )
        return el("p", told, class_="rd-note ready", data_agrees="yes")
    head = words(
        "They disagree: errors of measuring alone make such differences in {chance} of canals. They are not averaged.",
        chance=f"{found.chance:.1%}",
    )
    groups = [
        el(
            "li",
            el("b", ", ".join(words(s.method) for s in c.soundings)),
            ": ",
            ready.asked("constriction", c.constriction, words),
        )
        for c in found.candidates
    ]
    odd = [
        el("li", words("{method} stands out by {apart} mm", method=words(o.sounding.method), apart=f"{o.apart:+.1f}"))
        for o in found.odd
    ]
    advice = words("Repeat what stands out and check the reference point before any file goes to either length.")
    return el(
        "div", el("p", head), el("ul", *groups), el("ul", *odd), el("p", advice, class_="rd-action"),
        class_="rd-note not-ready", data_agrees="no",
    )  # fmt: skip


def _use(q: Quantity, words: Words) -> Safe:
    told = words("Use {value} mm as working length", value=f"{q.value:.1f}")
    return el("p", el("button", told, type="button", class_="button", data_use_length=f"{q.value:.1f}"))


def _next(steps: tuple[NextStep, ...], words: Words) -> Safe:
    if not steps:
        return el("p", words("No further measurement from outside would help much."), class_="quiet")
    lines = [
        (
            words(s.method),
            join(
                f"{s.before:.1f} → ", ready.reckoned("width of the interval", s.after, 1, "mm", words, key="next.width")
            ),
            ready.reckoned("doubt taken away", 100 * s.gain, 0, "%", words, key="next.gain"),
            ready.reckoned("time", s.minutes, 0, "min", words, key="next.minutes"),
            words("an exposure") if s.dose else "–",
        )
        for s in steps[:NEXT_SHOWN]
    ]
    columns = [
        words(c) for c in ("next measurement", "width of the interval", "doubt taken away", "time", "costs also")
    ]
    title = words("What the next measurement would add, most for its minutes first")
    return join(el("h3", title), ready.table(columns, lines, title, marked={0: "chosen"}))
