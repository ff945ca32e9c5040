"""A check on its way into the records, and the habits that checks teach."""

from canalwright.assessment.habits import Habit
from canalwright.quantities import Quantity
from canalwright.report.checking import length_words
from canalwright.web.checks import Check
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words


def kept(found: Check, words: Words) -> Safe:
    """What will be kept, in two lines."""
    told = found.assessment
    return join(
        el("p", words("The filling ends {where}.", where=words(length_words(told.to_terminus)))),
        el(
            "p",
            words(told.grade.word),
            ": ",
            words("chance that all criteria are met"),
            " ",
            ready.figure("chance that all criteria are met", told.grade.chance, 0, words, key="check.chance.all"),
        ),
        el("p", el("a", words("Own habits"), href="/records/habits")),
    )


def habits(found: tuple[Habit, ...], words: Words) -> Safe:
    """One row a habit."""
    head = join(
        el("h1", words("Own habits")),
        el(
            "p",
            words(
                "Where your own trims, stops and ends of fillings land against the plan, learned from the checks you kept. "
                "Shown for you to judge; no plan changes by it."
            ),
        ),
    )
    if not found:
        return join(head, el("p", words("No check with a plan has been kept yet."), class_="quiet"))
    columns = [words(c) for c in ("habit", "cases", "on average", "the next one", "drift of the last ten")]
    rows = [
        el(
            "tr",
            el("th", words(h.name), scope="row"),
            el("td", str(h.cases)),
            el("td", _mm(h.name, h.centre, "centre", words)),
            el("td", _mm(h.name, h.next_one, "next", words)),
            el("td", words("after 20 cases") if h.drift is None else _mm(h.name, h.drift, "drift", words)),
        )
        for h in found
    ]
    table = el(
        "table",
        el(
            "caption",
            words("Positive: deeper than planned; for the end and the top, farther than planned"),
            class_="quiet",
        ),
        el("thead", el("tr", *(el("th", c, scope="col") for c in columns))),
        el("tbody", *rows),
    )
    return join(head, el("div", table, class_="scroll", tabindex="0", role="group", aria_label=words("Own habits")))


def _mm(name: str, q: Quantity, key: str, words: Words) -> Safe:
    return ready.figure(name, q, 2, words, key=f"habit.{key}", sign="+")
