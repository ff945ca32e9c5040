"""The outcomes page."""

from collections.abc import Mapping, Sequence

from canalwright.records.outcomes import Chart, CoxModel, Summary
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens import figures
from canalwright.web.records.screens.page import boxes, button, choice
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
    of: str, model: CoxModel | str, charts: Mapping[str, Chart],
) -> Safe:  # fmt: skip
    """Who was seen, pictures with their files, what goes with the outcome."""
    return join(
        el("h1", words("Outcomes")),
        figures.people(words, summary.recalls, summary.readers, summary.refused.get("readers", "")),
        *(_picture(words, name, svg, tabled, _numbers(words, name, summary, charts)) for name, svg in drawn.items()),
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


def _numbers(words: Words, name: str, summary: Summary, charts: Mapping[str, Chart]) -> Safe:
    """The numbers of a picture; nothing where too few have been seen."""
    match name:
        case "success":
            return figures.success(words, summary)
        case "survival":
            return (
                figures.curves(words, {"teeth still there": summary.survival}, "survival")
                if summary.survival
                else Safe("")
            )
        case "lost":
            return figures.curves(
                words, {f"lost, {c}": curve for c, curve in summary.lost_by_cause.items()}, "incidence"
            )
        case "healing":
            return figures.curves(words, {"healed": summary.healing}, "healing") if summary.healing else Safe("")
        case _:
            return figures.process(words, charts[name], TITLES[name]) if name in charts else Safe("")


def _picture(words: Words, name: str, svg: str, tabled: set[str], numbers: Safe) -> Safe:
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
        numbers,
        el("p", *files, class_="actions"),
        class_="part",
    )


def _model(words: Words, known: Sequence[str], asked: Sequence[str], of: str, model: CoxModel | str) -> Safe:
    if not known:
        return Safe("")
    ask = el(
        "form",
        choice(words("Of"), "of", [("loss", words("loss of the tooth")), ("healing", words("healing"))], of),
        boxes(
            words("Factors"), "factor", [(k, figures.factor(words, k)) for k in known if not k.endswith(".on")], asked
        ),
        button(words("Reckon"), main=False),
        method="get",
        action="/records/outcomes#model",
        class_="stack wide",
    )
    title = words("What goes with the outcome (Cox model, errors clustered by patient)")
    return el("section", el("h2", title), ask, _hazards(words, model), class_="part", id="model")


def _hazards(words: Words, model: CoxModel | str) -> Safe:
    if isinstance(model, str):
        return el("p", words(model), role="status", class_="refusal") if model else Safe("")
    about = words(
        "{cases} cases, {events} events, {patients} patients",
        cases=model.cases,
        events=model.events,
        patients=model.patients,
    )
    return join(el("p", about, class_="quiet"), figures.hazards(words, model))
