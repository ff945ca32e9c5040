"""The screen that hands a case over."""

from collections.abc import Mapping, Sequence

from canalwright.anatomy import Tooth
from canalwright.records.accounts import Act
from canalwright.records.caseview import CaseView
from canalwright.report.wording import DOCUMENTS, LANGUAGES, Filled
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.page import button, choice, field, form, told
from canalwright.web.words import LANGUAGES as TONGUES
from canalwright.web.words import Words

TITLES = {"letter": "Letter to the referring colleague", "leaflet": "Leaflet for the patient"}


def share(
    prefs: Prefs, token: str, view: CaseView, document: str, language: str, text: str, fields: Sequence[str],
    given: Mapping[str, str], filled: Filled | None, problem: str, may: frozenset[Act],
) -> Safe:  # fmt: skip
    """Letter and leaflet with their words, then the other forms."""
    words = prefs.words
    base = f"/records/case/{view.case_id}"
    back = el("a", words("Back to the case"), href=base, class_="button")
    tooth = prefs.tooth(Tooth(view.tooth)) if view.tooth else "?"
    head = (
        el("h1", words("Share"), " ", el("span", f"{tooth}, {view.case_id}", class_="quiet")),
        told(words(problem)),
        el("p", back),
    )
    if Act.TAKE_OUT not in may:
        return join(*head, el("p", words("Your role may not hand cases over: ask a clinician."), class_="quiet"))
    names = Act.SEE_IDENTITY in may
    return join(
        *head,
        el("p", words("Files that leave are not encrypted. Each is recorded with the case, its words too."), class_="quiet"),
        _written(words, token, base, document, language, text, fields, given, filled, names),
        _part(words, token, f"{base}/share/casebook", "Casebook",
              "Every entry in order with its hash, how the chain was verified, numbers, steps done, images listed (PDF).",
              names, _tick(words, "drawings", "with the section of each plan, made again (may take a minute)", False)),
        _part(words, token, f"{base}/share/fhir", "FHIR R4 bundle",
              "Patient, procedure, observations and report for another program (JSON).", names),
        _part(words, token, f"{base}/share/dicom", "DICOM",
              "The casebook as encapsulated PDF and the measurements as a structured report, for an archive of images (zip).", names),
        el("section", el("h2", words("Files without identity")),
           el("p", words("Scans and films for teaching or a second opinion: copies of DICOM files with names, numbers, dates and free text "
                         "taken out."), class_="quiet"),
           el("p", el("a", words("Take identity out of DICOM files"), href=f"{base}/clean", class_="button")), class_="part"),
    )  # fmt: skip


def _written(
    words: Words, token: str, base: str, document: str, language: str, text: str, fields: Sequence[str], given: Mapping[str, str],
    filled: Filled | None, names: bool,
) -> Safe:  # fmt: skip
    """The document in words: choose, edit, look, make."""
    chosen = el(
        "form",
        choice(words("Document"), "document", [(d, words(TITLES[d])) for d in DOCUMENTS], document),
        choice(words("Its language"), "language", [(code, TONGUES[code]) for code in LANGUAGES], language),
        button(words("Show its words"), main=False),
        method="get",
        action=f"{base}/share",
        class_="filters",
    )
    area = el(
        "div",
        el("label", words("Words, with fields in braces"), for_="f-text"),
        el("textarea", text, id="f-text", name="text", rows="20", aria_describedby="h-text", spellcheck="true"),
        el(
            "span", words("Fields: {fields}", fields=", ".join(f"{{{f}}}" for f in fields)), id="h-text", class_="usual"
        ),
        class_="field",
    )
    inside = (
        el("input", type="hidden", name="document", value=document),
        el("input", type="hidden", name="language", value=language),
        el(
            "div",
            field(words("To the colleague"), "colleague", value=given.get("colleague", ""), autocomplete="off"),
            field(words("From, lines parted by /"), "clinic", value=given.get("clinic", ""), autocomplete="off"),
            field(words("Telephone for the patient"), "phone", value=given.get("phone", ""), autocomplete="off"),
            class_="fields",
        ),
        area,
        _tick(words, "identity", "with name, date of birth and number", given.get("identity") == "yes")
        if names
        else "",
        el(
            "p",
            button(words("Look at it first"), main=False, name="act", value="preview"),
            " ",
            button(words("Make the PDF"), name="act", value="pdf"),
            " ",
            button(words("Make it as DICOM"), main=False, name="act", value="dicom"),
            class_="actions",
        ),
    )
    return el(
        "section",
        el("h2", words(TITLES[document])),
        chosen,
        _seen(words, filled) if filled else "",
        form(f"{base}/share", token, *inside, kind="stack wide"),
        class_="part",
    )


def _seen(words: Words, filled: Filled) -> Safe:
    """How it would read, what is left out, and which numbers were typed by hand."""
    tags = {"title": "h3", "heading": "h4", "text": "p", "item": "p"}
    shown = [el(tags.get(p.kind, "p"), p.text or words("(the table of numbers)")) for p in filled.parts]
    missing = [
        el("li", words("Left out, nothing recorded for {fields}: {text}", fields=", ".join(fields), text=text[:160]))
        for text, fields in filled.left_out
    ]
    typed = (
        el(
            "p",
            words("Typed by hand, not from the records: {numbers}", numbers=", ".join(filled.typed)),
            class_="problems",
        )
        if filled.typed
        else ""
    )
    notes = el("ul", *missing) if missing else ""
    return el(
        "div", el("h3", words("As it would read")), el("blockquote", *shown), notes, typed, role="status", class_="said"
    )


def _part(words: Words, token: str, action: str, title: str, what: str, names: bool, *more: Safe) -> Safe:
    identity = (
        _tick(words, "identity", "with name, date of birth and number", False, ident=action.rpartition("/")[2])
        if names
        else Safe("")
    )
    inside = (identity, *more, button(words("Make it: {what}", what=words(title)), main=False))
    return el(
        "section",
        el("h2", words(title)),
        el("p", words(what), class_="quiet"),
        form(action, token, *inside, kind="stack wide"),
        class_="part",
    )


def _tick(words: Words, name: str, title: str, ticked: bool, ident: str = "letter") -> Safe:
    mark = f"f-{name}-{ident}"
    box = el("input", type="checkbox", id=mark, name=name, value="yes", checked=ticked)
    return el("p", box, " ", el("label", words(title), for_=mark))
