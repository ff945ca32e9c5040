"""What every page has: where one is, the ways on, the reader's preferences, the caution."""

from collections.abc import Mapping

from canalwright.casefile import Case
from canalwright.hazards import warnings
from canalwright.planning import CAUTION
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.reader import reader
from canalwright.web.stages import AFTER, FIRST, STAGES, Mark, State, stage_of
from canalwright.web.words import LANGUAGES, canal_words

Marks = Mapping[str, Mark]
OLDER, AS_NOW = "This shows the case as it was before its last change.", "Show it as it is now"
SIGNS = {State.DONE: "✓", State.DOUBTFUL: "!", State.MISSING: "○"}


def brand() -> Safe:
    """Our mark: a canal between two walls."""
    mark = el(
        "svg",
        el(
            "path",
            d="M6 2q4 9 5 20M18 2q-4 9-5 20",
            fill="none",
            stroke="currentColor",
            stroke_width="1.6",
            stroke_linecap="round",
        ),
        el("path", d="M12 9v9", stroke="var(--accent)", stroke_width="2.4", stroke_linecap="round"),
        viewBox="0 0 24 24",
        aria_hidden="true",
    )
    return el("a", mark, el("span", "canalwright"), href="/", class_="brand")


def top(
    prefs: Prefs, case: Case | None = None, key: str = "", index: int = 0, view: str = "", marks: Marks | None = None
) -> Safe:
    """The head of a page; with a case it says which tooth and canal is shown, always, and how far each stage of the work is."""
    words = prefs.words
    inside: list[Safe] = [brand()]
    if case is not None:
        inside.append(where(prefs, case, index))
    if name := reader():
        inside.append(records_link(prefs, name))
    inside.append(settings(prefs))
    rows = [el("div", *inside, class_="top-row")]
    if case is not None:
        canals = [
            el(
                "a",
                words(canal.name),
                href=f"/case/{key}/{i}/{view}",
                class_="tab",
                aria_current="page" if i == index else None,
            )
            for i, canal in enumerate(case.canals)
        ]
        rows.append(
            el(
                "div",
                way(prefs, key, index, view, marks or {}),
                el("nav", *canals, aria_label=words("Canals"), class_="tabs canals"),
                class_="top-row",
            )
        )
        rows.append(views(prefs, key, index, view))
    return join(
        el("a", words("Skip to the content"), href="#content", class_="skip"), el("header", *rows, class_="top")
    )


def way(prefs: Prefs, key: str, index: int, view: str, marks: Marks) -> Safe:
    """The stages of the work, each with what is missing or doubtful; then what comes after, and the evidence."""
    words, here = prefs.words, stage_of(view)
    tabs = []
    for stage in STAGES:
        mark = marks.get(stage.key)
        tabs.append(
            el(
                "a",
                el("span", words(stage.title)),
                told(prefs, mark) if mark else "",
                href=f"/case/{key}/{index}/{FIRST.get(stage.key, stage.views[0][0])}",
                class_="tab stage",
                data_carry=True,
                data_stage=stage.key,
                aria_current="step" if stage == here else None,
            )
        )
    later = AFTER if reader() else tuple(("/after", title) for _, title in AFTER)
    tabs += [
        el("a", words(title), href=href, class_="tab quiet-tab") for href, title in (*later, ("/evidence", "Evidence"))
    ]
    return el("nav", *tabs, aria_label=words("Stages of the work"), class_="tabs stages")


def told(prefs: Prefs, mark: Mark) -> Safe:
    """What a stage's mark says, with its sign."""
    said = prefs.words(mark.why, **mark.values)
    return el("small", el("i", SIGNS[mark.state], aria_hidden="true"), " ", said, class_=f"mark {mark.state}")


def views(prefs: Prefs, key: str, index: int, view: str) -> Safe:
    """The views of the stage that is open; nothing where it has only one."""
    words, here = prefs.words, stage_of(view)
    if here is None or len(here.views) < 2:
        return Safe("")
    tabs = [
        el(
            "a",
            words(title),
            href=f"/case/{key}/{index}/{name}",
            class_="tab view",
            data_carry=True,
            aria_current="page" if name == view else None,
        )
        for name, title in here.views
    ]
    return el("nav", *tabs, aria_label=words("Views of this stage"), class_="tabs views")


def where(prefs: Prefs, case: Case, index: int) -> Safe:
    """Tooth and canal, and whether the case was invented."""
    words, canal = prefs.words, case.canals[index]
    number = el("span", prefs.tooth(case.tooth), class_="tooth")
    kind = f"{words(case.tooth.kind)}, {words(case.tooth.side)}"
    label = el("span", case.label, class_="label", title=case.label)
    marked = el("span", words("invented"), class_="pill") if case.model.case.invented else Safe("")
    name = el("h1", number, " ", canal_words(words, canal.name), class_="name")
    return el("div", name, el("p", el("span", kind), " ", label, " ", marked, class_="quiet"), class_="where")


def records_link(prefs: Prefs, name: str) -> Safe:
    """The way to the records, and who is signed in; only where records are open."""
    words = prefs.words
    inside = (el("a", words("Records"), href="/records/", class_="tab"), el("span", name, class_="tab"))
    return el("nav", *inside, aria_label=words("Records"), class_="tabs signed-in")


def settings(prefs: Prefs) -> Safe:
    """Theme, tooth numbers, language."""
    words = prefs.words
    teeth = (("iso", "ISO 3950"), ("universal", words("Universal")))
    themes = (("auto", words("As the system")), ("light", words("Light")), ("dark", words("Dark")))
    inside = el(
        "div",
        _choice("theme", words("Appearance"), themes, "auto"),
        _choice("teeth", words("Tooth numbers"), teeth, "universal" if prefs.universal else "iso"),
        _choice("language", words("Language"), tuple(LANGUAGES.items()), prefs.language),
        class_="sheet",
    )
    return el("details", el("summary", words("Settings")), inside, class_="settings")


def older(prefs: Prefs, address: str) -> Safe:
    """That a page shows what a case was, and the way to what it is now."""
    return join(prefs.words(OLDER), " ", el("a", prefs.words(AS_NOW), href=address))


def caution(prefs: Prefs, stage: str = "") -> Safe:
    """The caution, on every screen; what the hazard file has to say at this stage of the work unfolds from it."""
    return el("footer", before(prefs, stage), el("p", prefs.words(CAUTION)), class_="standing")


def before(prefs: Prefs, stage: str, *, unfolded: bool = False) -> Safe:
    """What to heed at a stage of the work; nothing where the hazard file has nothing to say."""
    said = [el("li", prefs.words(warning)) for warning in warnings(stage)]
    title = el("summary", prefs.words("Before you act"), " ", el("span", str(len(said)), class_="pill"))
    return el("details", title, el("ul", *said), class_="before-acting", open=unfolded) if said else Safe("")


def _choice(name: str, title: str, options: tuple[tuple[str, str], ...], chosen: str) -> Safe:
    boxes = [
        el(
            "label",
            el("input", type="radio", name=f"cw-{name}", value=value, data_setting=name, checked=value == chosen),
            el("span", words),
        )
        for value, words in options
    ]
    return el("fieldset", el("legend", title), *boxes)
