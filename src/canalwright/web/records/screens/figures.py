"""The numbers behind the pictures of the outcomes, each of which says on a click where it is from; intervals here are 95 %."""

from collections.abc import Mapping, Sequence

from canalwright.quantities import Origin, Quantity, Source
from canalwright.records.outcomes import Chart, CoxModel, Curve, Kappa, Proportion, Published, Summary
from canalwright.records.outcomes.summary import Recalls, Stratum
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens.page import table
from canalwright.web.words import Words

KIND = "95 % interval"
SHARES = ("recall rate", "success", "survival", "incidence", "healing", "published")
"""Keys whose numbers are shares, shown in percent."""
FACTORS = {
    "case.index_before": "periapical index before",
    "case.operator": "operator",
    "case.tooth": "tooth",
    "chair.finished": "session finished",
    "chair.holds_kept": "holds kept",
    "chair.seconds": "chair time, s",
    "check.short_mm": "end short of the terminus, mm",
    "check.void_percent": "voids, %",
    "plan.heat margin": "heat margin of the plan, K",
    "plan.rounds": "rounds of the plan",
}
"""Names of logged factors as people say them; what is not here is named as it was logged."""
MONTHS = (12.0, 24.0, 36.0, 48.0, 60.0, 96.0)


def people(words: Words, found: Recalls, readers: Kappa | None, refused: str) -> Safe:
    """Who was filled, followed and lost to recall, and whether two readers agree."""
    counts = (
        ("Filled teeth", found.filled), ("Followed for a year or lost", found.followed), ("Lost to recall", found.lost),
        ("Overdue", found.overdue),
    )  # fmt: skip
    rows: list[tuple[str, Safe | str]] = [(name, _count(words, name, n)) for name, n in counts]
    rows.append(("Recall rate", share(words, "Recall rate", found.rate, "recall rate")))
    rows.append(("Agreement of two readers", _kappa(words, readers) if readers else words(refused or "too few to say")))
    return el("dl", *(join(el("dt", words(k)), el("dd", v)) for k, v in rows), class_="facts")


def share(words: Words, name: str, p: Proportion | None, key: str) -> Safe | str:
    """A proportion in percent with its interval, or that it may not be told."""
    if p is None:
        return words("too few to say")
    source = Source(Origin.COMPUTED, f"{p.count} of {p.of} cases")
    return _said(words, name, Quantity(p.value, p.low, p.high, "", source), 0, key)


def success(words: Words, summary: Summary) -> Safe:
    """Success by group, by strict and by loose criteria; below it the published figures."""
    groups: list[tuple[str, Stratum]] = [(words("all"), summary.overall)]
    groups += [(f"{words(factor)}: {words(s.name)}", s) for factor, found in summary.strata.items() for s in found]
    rows: list[list[Safe | str]] = [
        [
            name, str(s.cases), share(words, "success by strict criteria", s.strict, "success"),
            share(words, "success by loose criteria", s.loose, "success"),
        ]
        for name, s in groups
    ]  # fmt: skip
    head = [words(h) for h in ("group", "judged", "strict", "loose")]
    return join(table(head, rows, words("Success in numbers")), _beside(words, summary.beside))


def curves(words: Words, named: Mapping[str, Curve], key: str) -> Safe:
    """What curves say after one, two ... years; nothing where none says anything yet."""
    rows = []
    for months in MONTHS:
        told = {name: curve.known_at(months) for name, curve in named.items()}
        if any(told.values()):
            cells = [_at(words, name, at, named[name], key) for name, at in told.items()]
            rows.append([f"{months:.0f}", *cells])
    if not rows:
        return Safe("")
    return table([words("months"), *(words(name) for name in named)], rows, words("Curves in numbers"))


def process(words: Words, chart: Chart, title: str) -> Safe:
    """Centre, limits and trend of a process chart."""
    source = Source(Origin.COMPUTED, f"{chart.based_on} cases")
    every = Source(Origin.COMPUTED, f"{len(chart.points)} cases")
    numbers = (
        ("centre and limits of a single case", Quantity(chart.centre, chart.low, chart.high, "", source), "chart", "limits"),
        ("change per 10 cases", Quantity(chart.slope, chart.slope_low, chart.slope_high, "", every), "slope", KIND),
    )  # fmt: skip
    rows = [
        join(el("dt", words(name)), el("dd", _said(words, name, q, 2, key, kind))) for name, q, key, kind in numbers
    ]
    return el("dl", *rows, class_="facts", aria_label=words(title))


def hazards(words: Words, model: CoxModel) -> Safe:
    """What goes with the outcome, factor by factor."""
    source = Source(Origin.COMPUTED, f"{model.events} events in {model.cases} cases")
    rows = [
        [
            factor(words, h.factor), _said(words, h.factor, Quantity(h.ratio, h.low, h.high, "", source), 2, "hazard"),
            _said(words, h.factor, Quantity.exact(h.p, "", source), 3, "p", ""),
        ]
        for h in model.hazards
    ]  # fmt: skip
    return table([words(h) for h in ("Factor", "Hazard ratio", "p")], rows, words("Hazard ratios"))


def factor(words: Words, name: str) -> str:
    """A logged factor, and the group of it that is meant, in the reader's words."""
    known, _, group = name.partition(": ")
    return words(FACTORS.get(known, known)) + (f": {words(group)}" if group else "")


def _beside(words: Words, found: Sequence[Published]) -> Safe:
    rows = []
    for p in found:
        q = Quantity(
            p.value, p.value if p.low is None else p.low, p.value if p.high is None else p.high, "",
            Source(Origin.AVERAGE, f"{p.source}; {p.seen}"),
        )  # fmt: skip
        rows.append(
            [words(p.outcome), words(p.group), words(p.criteria), _said(words, p.outcome, q, 0, "published"), p.source]
        )
    head = [words(h) for h in ("outcome", "of whom", "criteria", "share", "source")]
    return el("details", el("summary", words("Published figures")), table(head, rows, words("Published figures")))


def _at(words: Words, name: str, at: tuple[float, float, float] | None, curve: Curve, key: str) -> Safe | str:
    if at is None:
        return words("none yet")
    source = Source(Origin.COMPUTED, f"{curve.cases} cases")
    return _said(words, name, Quantity(at[0], at[1], at[2], "", source), 0, key)


def _kappa(words: Words, k: Kappa) -> Safe:
    source = Source(Origin.COMPUTED, f"{k.pairs} films")
    return _said(words, "weighted kappa", Quantity(k.value, k.low, k.high, "", source), 2, "kappa")


def _count(words: Words, name: str, n: int) -> Safe:
    return _said(words, name, Quantity.exact(float(n), ""), 0, "count", "")


def _said(words: Words, name: str, q: Quantity, digits: int, key: str, kind: str = KIND) -> Safe:
    return ready.figure(name, q, digits, words, key=f"outcome.{key}", kind=kind, bare=key not in SHARES)
