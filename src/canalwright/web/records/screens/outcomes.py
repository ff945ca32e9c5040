"""The outcomes page."""

from collections.abc import Mapping, Sequence

from canalwright.records.outcomes import CoxModel, Proportion, Summary
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens.page import boxes, button, choice, table
from canalwright.web.words import Words

TITLES = {
    "success": "Success at the last recall",
    "survival": "Teeth still there",
    "lost": "Teeth lost, by cause",
    "healing": "Healing of lesions",
    "chair-seconds": "Chair time, case after case",
    "chair-holds-kept": "Holds kept, case after case",
    "plan-heat-margin": "Heat margin, case after case",
}
CSV = {"lost": ("lost-endodontic", "lost-other")}


def outcomes(
    words: Words, summary: Summary, drawn: Mapping[str, str], tabled: set[str], known: Sequence[str], asked: Sequence[str],
    of: str, model: CoxModel | str,
) -> Safe:  # fmt: skip
    """Who was seen, pictures with their files, what goes with the outcome."""
    r = summary.recalls
    figures = (
        (words("Filled teeth"), str(r.filled)),
        (words("Followed for a year or lost"), str(r.followed)),
        (words("Lost to recall"), str(r.lost)),
        (words("Overdue"), str(r.overdue)),
        (words("Recall rate"), _share(words, r.rate)),
        (words("Agreement of two readers"), _kappa(words, summary)),
    )
    return join(
        el("h1", words("Outcomes")),
        el("dl", *(join(el("dt", k), el("dd", v)) for k, v in figures), class_="facts"),
        *(_picture(words, name, svg, tabled) for name, svg in drawn.items()),
        _model(words, known, asked, of, model),
        el(
            "p",
            words(
                "Left out: healing is found at a visit and happened before it; who never came back may differ from who did; what goes "
                "with an outcome need not bring it about."
            ),
            class_="quiet",
        ),
    )


def _picture(words: Words, name: str, svg: str, tabled: set[str]) -> Safe:
    files = [el("a", words("Picture (SVG)"), href=f"/records/outcomes/{name}.svg", class_="button", download=True)]
    for each in CSV.get(name, (name,)):
        if each in tabled:
            shown = words("Table (CSV)") if each == name else f"{words('Table (CSV)')}, {words(each.partition('-')[2])}"
            files.append(el("a", shown, href=f"/records/outcomes/{each}.csv", class_="button", download=True))
    title = words(TITLES.get(name, name))
    return el(
        "section",
        el("h2", title),
        el("div", Safe(svg), class_="drawing"),
        el("p", *files, class_="actions"),
        class_="part",
    )


def _model(words: Words, known: Sequence[str], asked: Sequence[str], of: str, model: CoxModel | str) -> Safe:
    if not known:
        return Safe("")
    ask = el(
        "form",
        choice(words("Of"), "of", [("loss", words("loss of the tooth")), ("healing", words("healing"))], of),
        boxes(words("Factors"), "factor", [(k, k) for k in known], asked),
        button(words("Reckon"), main=False),
        method="get",
        action="/records/outcomes#model",
        class_="stack wide",
    )
    title = words("What goes with the outcome (Cox model, errors clustered by patient)")
    return el("section", el("h2", title), ask, _hazards(words, model), class_="part", id="model")


def _hazards(words: Words, model: CoxModel | str) -> Safe:
    if isinstance(model, str):
        return el("p", model, role="status", class_="refusal") if model else Safe("")
    rows = [(h.factor, f"{h.ratio:.2f}", f"{h.low:.2f}–{h.high:.2f}", f"{h.p:.3f}") for h in model.hazards]
    head = [words(h) for h in ("Factor", "Hazard ratio", "95 % interval", "p")]
    about = words(
        "{cases} cases, {events} events, {patients} patients",
        cases=model.cases,
        events=model.events,
        patients=model.patients,
    )
    return join(el("p", about, class_="quiet"), table(head, rows, words("Hazard ratios")))


def _share(words: Words, p: Proportion | None) -> str:
    if p is None:
        return words("too few to say")
    return f"{100 * p.value:.0f} % ({100 * p.low:.0f}–{100 * p.high:.0f}, 95 %)"


def _kappa(words: Words, summary: Summary) -> str:
    k = summary.readers
    if k is None:
        return summary.refused.get("readers", words("too few to say"))
    return words(
        "weighted kappa {v} ({low}–{high}), {n} films",
        v=f"{k.value:.2f}",
        low=f"{k.low:.2f}",
        high=f"{k.high:.2f}",
        n=k.pairs,
    )
