"""The recall form."""

from collections.abc import Callable, Sequence
from datetime import date

from starlette.datastructures import FormData

from canalwright.records.caseview import CaseView
from canalwright.records.events import Event
from canalwright.records.recall.visit import LESIONS, LOSSES, SIGNS, SYMPTOMS
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.page import boxes, button, choice, field, form, radios, told
from canalwright.web.words import Words

MOST_ROOTS = 5
TENDER = (("", "not tested"), ("no", "not tender"), ("yes", "tender"))
THERE = (("", "not looked at"), ("yes", "yes"), ("no", "no"))
INDEX = (("", "–"), *((str(n), str(n)) for n in range(1, 6)))


def recall(
    prefs: Prefs, token: str, view: CaseView, roots: Sequence[str], reader: str, given: FormData | None, today: date,
    problem: str,
) -> Safe:  # fmt: skip
    """Everything that is found at one visit. `given` is what was entered before, when something was wrong with it."""
    words = prefs.words

    def was(name: str, otherwise: str = "") -> str:
        value = given.get(name, "") if given is not None else otherwise
        return value if isinstance(value, str) else ""

    def many(name: str) -> list[str]:
        return [v for v in given.getlist(name) if isinstance(v, str)] if given is not None else []

    def among(options: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        return [(value, words(shown)) for value, shown in options]

    lesion = [(v, v or "not compared") for v in LESIONS]
    lost = [(v, v or "no, the tooth stands") for v in LOSSES]
    inside = (
        told(words(problem)),
        field(words("Date of the recall"), "on", kind="date", value=was("on", today.isoformat()), required=True),
        boxes(words("Signs"), "signs", among([(s, s) for s in SIGNS]), many("signs")),
        boxes(words("Symptoms"), "symptoms", among([(s, s) for s in SYMPTOMS]), many("symptoms")),
        radios(words("Percussion"), "percussion", among(TENDER), was("percussion")),
        _film(words, roots, reader, was),
        choice(words("Lesion, against the film before"), "lesion", among(lesion), was("lesion")),
        radios(words("Permanent restoration there"), "restoration", among(THERE), was("restoration")),
        radios(words("Restoration sound"), "restoration_sound", among(THERE), was("restoration_sound")),
        choice(words("Tooth lost"), "lost", among(lost), was("lost")),
        el(
            "div",
            el("label", words("Films: PNG, JPEG, TIFF or DICOM, 32 MB together"), for_="f-films"),
            el(
                "input",
                type="file",
                id="f-films",
                name="films",
                multiple=True,
                accept=".png,.jpg,.jpeg,.tif,.tiff,.dcm",
            ),
            class_="field",
        ),
        field(words("Note"), "note", value=was("note"), maxlength="4000"),
        button(words("Keep the recall")),
    )
    return join(
        el("h1", words("Recall"), " ", el("span", f"{view.tooth}, {view.case_id}", class_="quiet")),
        form(f"/records/case/{view.case_id}/recall", token, *inside, files=True, kind="stack wide"),
    )


def _film(words: Words, roots: Sequence[str], reader: str, was: Callable[..., str]) -> Safe:
    """Periapical index by root and reader."""
    named = [*roots, *[""] * (MOST_ROOTS - len(roots))] if roots else ["tooth", *[""] * (MOST_ROOTS - 1)]
    shown = max(1, len(roots)) + 1
    rows = []
    for i, root in enumerate(named[: min(MOST_ROOTS, shown)]):
        label = words("root {n}", n=i + 1)
        cells: list[Safe] = [
            el("input", name=f"root_{i}", value=was(f"root_{i}", root), aria_label=words("Name of {root}", root=label))
        ]
        for name, title in (
            (f"index_{i}_1", "first reader"),
            (f"index_{i}_2", "second reader"),
            (f"agreed_{i}", "agreed"),
        ):
            options = [el("option", w, value=v, selected=v == was(name)) for v, w in INDEX]
            told = words("{root}, {reader}", root=label, reader=words(title))
            cells.append(el("select", *options, name=name, id=f"f-{name}", aria_label=told))
        rows.append(el("tr", *(el("td", c) for c in cells)))
    readers = el(
        "div",
        field(words("First reader"), "reader_1", value=was("reader_1", reader)),
        field(words("Second reader, where wanted"), "reader_2", value=was("reader_2")),
        class_="fields",
    )
    head = [words(h) for h in ("Root", "First reader", "Second reader", "Agreed afterwards")]
    box = el("input", type="checkbox", id="f-blind", name="blind", value="yes", checked=was("blind") == "yes")
    blind = el("label", words("somebody else reads the film too, and sees my grades only afterwards"), for_="f-blind")
    return el(
        "fieldset",
        el("legend", words("Periapical index on the film, 1 healthy to 5 severe")),
        readers,
        el("p", box, " ", blind),
        el("table", el("thead", el("tr", *(el("th", h, scope="col") for h in head))), el("tbody", *rows)),
        class_="film",
    )


def second(
    prefs: Prefs, token: str, view: CaseView, event: Event, shown: frozenset[str], reader: str, problem: str
) -> Safe:
    """A film to be graded by a second reader, without the first's grades; `shown`: images that a browser can show."""
    words = prefs.words
    base = f"/records/case/{view.case_id}"
    index, images = event.field("index"), event.field("images")
    roots = list(index) if isinstance(index, dict) else []
    films = []
    for i, name in enumerate(images if isinstance(images, list) else [], 1):
        said, source = words("Film {n}", n=i), f"{base}/image/{name}"
        seen = el("img", src=source, alt=said, class_="to-read") if name in shown else said
        films.append(el("li", el("a", seen, href=source, target="_blank")))
    rows = []
    for i, root in enumerate(roots):
        hidden = el("input", type="hidden", name="root", value=root)
        rows += [hidden, choice(words(root), f"index_{i}", INDEX)]
    inside = (
        told(words(problem)),
        el("ul", *films)
        if films
        else el("p", words("No film was kept with this recall: look at it elsewhere."), class_="quiet"),
        el(
            "fieldset",
            el("legend", words("Periapical index on the film, 1 healthy to 5 severe")),
            el("div", *rows, class_="fields"),
            class_="film",
        ),
        button(words("Keep the reading")),
    )
    return join(
        el("h1", words("Second reading"), " ", el("span", f"{view.tooth}, {view.case_id}", class_="quiet")),
        el("p", words("Reader: {name}. The first reading is shown when yours is kept.", name=reader), class_="quiet"),
        form(f"{base}/second/{event.seq}", token, *inside, kind="stack wide"),
    )
