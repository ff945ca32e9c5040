"""Lists of cases, and how one is opened."""

from collections.abc import Mapping, Sequence
from datetime import date
from urllib.parse import urlencode

from canalwright.anatomy import Tooth
from canalwright.records.accounts import Act
from canalwright.records.cases import Page
from canalwright.records.caseview import CaseView
from canalwright.records.recall.rules import overdue
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.page import button, choice, field, form, table, told
from canalwright.web.words import Words

GRADES = (("", "not known"), ("1", "1, healthy"), ("2", "2"), ("3", "3"), ("4", "4"), ("5", "5, severe"))


def cases(
    prefs: Prefs, page: Page, status: str, patient: str, start: int, rows: int, today: date, may: frozenset[Act]
) -> Safe:
    """The list with its filters."""
    words = prefs.words
    options = [("", words("all")), *((s, words(s)) for s in ("open", "planned", "filled", "closed"))]
    filters = el(
        "form",
        choice(words("State"), "status", options, status),
        field(words("Pseudonym of the patient"), "patient", value=patient, spellcheck="false"),
        button(words("Show"), main=False),
        method="get",
        action="/records/",
        class_="filters",
    )
    search = (
        el(
            "form",
            field(words("Name, number or date of birth"), "words", required=True, autocomplete="off"),
            button(words("Find a patient"), main=False),
            method="get",
            action="/records/find",
            class_="filters",
        )
        if Act.SEE_IDENTITY in may
        else Safe("")
    )
    add = el("a", words("New case"), href="/records/new", class_="button main") if Act.OPEN_CASE in may else Safe("")
    return join(
        el("div", el("h1", words("Cases")), add, class_="title-row"),
        filters,
        search,
        case_table(prefs, page.rows, words("Cases, the one touched last first"), today),
        pager(words, page.total, start, rows, "/records/", {"status": status, "patient": patient}),
    )


def recalls(prefs: Prefs, late: Page, soon: Page, start: int, rows: int, today: date, may: frozenset[Act]) -> Safe:
    """Overdue and due."""
    words = prefs.words
    ics = (
        el("a", words("Calendar file (iCalendar)"), href="/records/recalls.ics", class_="button", download=True)
        if Act.TAKE_OUT in may
        else Safe("")
    )
    return join(
        el("div", el("h1", words("Recalls")), ics, class_="title-row"),
        el("section", el("h2", words("Overdue, more than 30 days past")), class_="part"),
        case_table(prefs, late.rows, words("Recalls overdue"), today),
        pager(words, late.total, start, rows, "/records/recalls", {}),
        el("section", el("h2", words("Due within 60 days, or past")), class_="part"),
        case_table(prefs, soon.rows, words("Recalls due"), today),
        pager(words, soon.total, start, rows, "/records/recalls", {}),
    )


def case_table(prefs: Prefs, views: Sequence[CaseView], caption: str, today: date) -> Safe:
    """One line a case."""
    words = prefs.words
    if not views:
        return el("p", words("None."), class_="quiet empty")
    head = [words(h) for h in ("Tooth", "Case", "Patient", "State", "Filled", "Next recall", "Outcome", "Operator")]
    rows = [
        (
            el("b", tooth_words(prefs, v.tooth), class_="tooth"),
            el("a", v.case_id, href=f"/records/case/{v.case_id}"),
            v.patient,
            words(v.status),
            v.filled,
            due_words(words, v.next_due, today),
            words(v.outcome),
            v.operator,
        )
        for v in views
    ]
    return table(head, rows, caption)


def pager(words: Words, total: int, start: int, rows: int, path: str, query: Mapping[str, str]) -> Safe:
    """How many there are, and the ways to the rest."""
    kept = {k: v for k, v in query.items() if v}
    links = [
        el("a", words(name), href=f"{path}?{urlencode({**kept, 'start': to})}", class_="button")
        for name, to, there in (
            ("Earlier ones", start - rows, start > 0),
            ("Further ones", start + rows, start + rows < total),
        )
        if there
    ]
    return el("p", words("{total} in all", total=total), " ", *links, class_="pager")


def found(prefs: Prefs, words_given: str, names: Sequence[str], problem: str) -> Safe:
    """Who was found, by pseudonym."""
    words = prefs.words
    rows = [el("li", el("a", n, href=f"/records/?{urlencode({'patient': n})}"), " ", _new_for(words, n)) for n in names]
    return join(
        el("h1", words("Find a patient")),
        told(words(problem)),
        el("p", words("{n} found for “{given}”.", n=len(names), given=words_given)),
        el("ul", *rows, class_="plain"),
        el("p", el("a", words("Back to the cases"), href="/records/", class_="button")),
    )


def _new_for(words: Words, patient: str) -> Safe:
    return el("a", words("new case"), href=f"/records/new?{urlencode({'patient': patient})}")


def new(prefs: Prefs, token: str, given: Mapping[str, str], problem: str) -> Safe:
    """A new case."""
    words = prefs.words
    inside = (
        told(words(problem)),
        el("div", *case_fields(words, given), class_="fields"),
        el("h2", words("Patient")),
        el("div", *patient_fields(words, given), class_="fields"),
        button(words("Open the case")),
    )
    return join(el("h1", words("New case")), form("/records/new", token, *inside, kind="stack wide"))


def case_fields(words: Words, given: Mapping[str, str]) -> tuple[Safe, Safe]:
    """Tooth and state before."""
    return (
        field(
            words("Tooth, ISO 3950"),
            "tooth",
            value=given.get("tooth", ""),
            required=True,
            inputmode="numeric",
            maxlength="2",
        ),
        choice(
            words("Periapical index before"),
            "index_before",
            [(v, words(w)) for v, w in GRADES],
            given.get("index_before", ""),
        ),
    )


def patient_fields(words: Words, given: Mapping[str, str]) -> tuple[Safe, ...]:
    """A known patient by pseudonym, or who a new one is; all of it may stay empty."""
    hint = words("Leave it empty for a new patient.")
    return (
        field(
            words("Known patient, pseudonym"), "patient", value=given.get("patient", ""), hint=hint, spellcheck="false"
        ),
        field(
            words("Name"),
            "name",
            value=given.get("name", ""),
            autocomplete="off",
            hint=words("Kept apart, under a key of its own."),
        ),
        field(words("Date of birth"), "born", kind="date", value=given.get("born", "")),
        field(words("Number in your files"), "number", value=given.get("number", ""), autocomplete="off"),
        field(words("Contact"), "contact", value=given.get("contact", ""), autocomplete="off"),
    )


def tooth_words(prefs: Prefs, code: int) -> str:
    """The tooth as the reader calls it."""
    return prefs.tooth(Tooth(code)) if code else "?"


def due_words(words: Words, due: str, today: date) -> Safe | str:
    """The day of the next recall, marked where it is overdue."""
    if not due:
        return ""
    late = overdue(date.fromisoformat(due), today)
    return el("span", due, " ", el("b", words("overdue"), class_="late")) if late else due
