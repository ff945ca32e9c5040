"""Lists of cases, and one case."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlencode

from canalwright.anatomy import Tooth
from canalwright.records.accounts import Act
from canalwright.records.blind import to_read
from canalwright.records.cases import Page
from canalwright.records.caseview import CaseView
from canalwright.records.events import Event, Kind
from canalwright.records.patients import Identity
from canalwright.records.recall.rules import overdue
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.page import button, choice, field, form, table, told
from canalwright.web.words import Words

GRADES = (("", "not known"), ("1", "1, healthy"), ("2", "2"), ("3", "3"), ("4", "4"), ("5", "5, severe"))


@dataclass(frozen=True)
class Begun:
    """A session at the chair: its name in the book, the canal, when it began."""

    ident: str
    canal: str
    began: datetime


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
            el("b", _tooth(prefs, v.tooth), class_="tooth"),
            el("a", v.case_id, href=f"/records/case/{v.case_id}"),
            v.patient,
            words(v.status),
            v.filled,
            _due(words, v.next_due, today),
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
        told(problem),
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
        told(problem),
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


def case(
    prefs: Prefs, token: str, view: CaseView, events: Sequence[Event], today: date, may: frozenset[Act],
    who: Identity | None, begun: Sequence[Begun], problem: str,
) -> Safe:  # fmt: skip
    """Everything about one case. `begun`: sessions at the chair that could be kept with it."""
    words = prefs.words
    facts = [
        (words("Patient"), _patient(words, view, who, may)),
        (words("State"), words(view.status)),
        (words("Operator"), view.operator),
        (words("Filled"), view.filled),
        (words("Next recall"), _due(words, view.next_due, today)),
        (words("Outcome"), words(view.outcome)),
    ]
    ways = []
    if Act.RECORD_RECALL in may and view.filled:
        ways.append(el("a", words("Enter a recall"), href=f"/records/case/{view.case_id}/recall", class_="button main"))
    if Act.RECORD_RECALL in may:
        for e in filter(to_read, events):
            shown = words("Read the film of {on} as second reader", on=e.field("on"))
            ways.append(el("a", shown, href=f"/records/case/{view.case_id}/second/{e.seq}", class_="button"))
    if Act.TAKE_OUT in may:
        ways.append(el("a", words("Share"), href=f"/records/case/{view.case_id}/share", class_="button"))
    if Act.RECORD_RECALL in may:
        ways.append(el("a", words("Rules and erasing"), href=f"/records/case/{view.case_id}/rules", class_="button"))
    plans = [e for e in events if e.kind is Kind.PLAN and e.payload]
    return join(
        el("h1", _tooth(prefs, view.tooth), " ", el("span", view.case_id, class_="quiet")),
        told(problem),
        el("dl", *(join(el("dt", k), el("dd", v)) for k, v in facts if v), class_="facts"),
        el("p", *ways, class_="actions"),
        el("section", el("h2", words("Plans")), _plans(prefs, view, plans), class_="part"),
        _chairs(words, token, view, begun),
        _forms(words, token, view, may, today),
        el("section", el("h2", words("What happened")), _history(prefs, token, view, events, may), class_="part"),
    )


def _patient(words: Words, view: CaseView, who: Identity | None, may: frozenset[Act]) -> Safe:
    if who is not None:
        shown = ", ".join(t for t in (who.name, who.born, who.number, who.contact) if t) or words(
            "nobody wrote it down"
        )
        return el("span", view.patient, ": ", el("b", shown))
    ask = el("a", words("Show who this is"), href=f"/records/case/{view.case_id}?who=1")
    return el("span", view.patient, " ", ask if Act.SEE_IDENTITY in may else "")


def _plans(prefs: Prefs, view: CaseView, plans: Sequence[Event]) -> Safe:
    words = prefs.words
    if not plans:
        return el(
            "p", words("No plan yet. Open or write a case, plan it, then keep it in the records."), class_="quiet"
        )
    newest = {str(e.field("canal")): e.seq for e in plans}
    rows = [
        el(
            "li",
            el(
                "a",
                f"{words(str(e.field('canal')))}",
                href=f"/records/case/{view.case_id}/plan/{e.seq}",
                class_="button",
            ),
            el("span", f"{e.happened:%Y-%m-%d %H:%M} UTC, {e.author}", class_="quiet"),
            el("span", words("the one that counts"), class_="pill") if newest[str(e.field("canal"))] == e.seq else "",
        )
        for e in reversed(plans)
    ]
    return el("ul", *rows, class_="plans")


def _chairs(words: Words, token: str, view: CaseView, begun: Sequence[Begun]) -> Safe:
    """Sessions at the chair of this tooth that are not kept yet."""
    if not begun:
        return Safe("")
    rows = []
    for session in begun:
        inside = (
            el("input", type="hidden", name="session", value=session.ident),
            el("span", f"{words(session.canal)}, {session.began:%Y-%m-%d %H:%M}"),
            el(
                "label",
                el("input", type="checkbox", name="finished", value="yes"),
                " ",
                words("the tooth is filled with it"),
            ),
            button(words("Keep what was done"), main=False),
        )
        rows.append(el("li", form(f"/records/case/{view.case_id}/chair", token, *inside, kind="inline")))
    return el("section", el("h2", words("At the chair, not kept yet")), el("ul", *rows), class_="part")


def _forms(words: Words, token: str, view: CaseView, may: frozenset[Act], today: date) -> Safe:
    base = f"/records/case/{view.case_id}"
    parts = []
    if Act.RECORD_TREATMENT in may and not view.filled:
        inside = el(
            "div",
            field(words("Filled on"), "on", kind="date", value=today.isoformat(), required=True),
            field(words("Filling short of the terminus, mm"), "short_mm", inputmode="decimal"),
            field(words("Voids, %"), "void_percent", inputmode="decimal"),
            class_="fields",
        )
        made = form(
            f"{base}/filled", token, inside, button(words("The tooth is filled"), main=False), kind="stack wide"
        )
        parts.append(el("section", el("h2", words("Filling finished")), made, class_="part"))
    if Act.RECORD_RECALL in may:
        note = field(words("Note"), "text", required=True, maxlength="4000")
        parts.append(
            el(
                "section",
                el("h2", words("Add a note")),
                form(f"{base}/note", token, note, button(words("Keep the note"), main=False), kind="stack wide"),
                class_="part",
            )
        )
    return join(*parts)


def _history(prefs: Prefs, token: str, view: CaseView, events: Sequence[Event], may: frozenset[Act]) -> Safe:
    words = prefs.words
    rows = []
    for e in reversed(events):
        out: Safe | str = ""
        if Act.CORRECT in may and e.kind.of_user:
            reason = el(
                "input", name="reason", required=True, aria_label=words("Reason for withdrawing entry {n}", n=e.seq)
            )
            inside = (
                el("input", type="hidden", name="seq", value=str(e.seq)),
                reason,
                button(words("Withdraw"), main=False),
            )
            made = form(f"/records/case/{view.case_id}/withdraw", token, *inside, kind="inline")
            out = el("details", el("summary", words("Withdraw")), made)
        rows.append((str(e.seq), f"{e.happened:%Y-%m-%d %H:%M}", e.author, words(e.kind.value), _told(view, e), out))
    head = [words(h) for h in ("Entry", "UTC", "By", "What", "Content", "")]
    head[-1] = words("Mistake?")
    return table(head, rows, words("Entries of this case, the newest first"))


def _told(view: CaseView, event: Event) -> Safe:
    """An entry in a few words."""
    payload = event.payload or {}
    if event.kind is Kind.IMAGE:
        return el(
            "a", str(payload.get("label") or "film"), href=f"/records/case/{view.case_id}/image/{payload.get('image')}"
        )
    if event.kind is Kind.PLAN:
        return el("span", str(payload.get("canal", "")))
    if event.kind is Kind.CHAIR and "steps" in payload:
        return el("span", f"{payload.get('canal')}: {payload.get('seconds')} s")
    if event.kind is Kind.MEASUREMENT and "case_file" in payload:
        return el("span", "case file")
    shown = [f"{k} {_short(v)}" for k, v in payload.items() if v not in (None, "", [], {}, False)]
    return el("span", "; ".join(shown)[:600])


def _short(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{k} {_short(v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(_short(v) for v in value)
    return str(value)


def _tooth(prefs: Prefs, code: int) -> str:
    return prefs.tooth(Tooth(code)) if code else "?"


def _due(words: Words, due: str, today: date) -> Safe | str:
    if not due:
        return ""
    late = overdue(date.fromisoformat(due), today)
    return el("span", due, " ", el("b", words("overdue"), class_="late")) if late else due
