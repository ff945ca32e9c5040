"""One case: what is known of it, what can be done, what happened."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from canalwright.records.accounts import Act
from canalwright.records.blind import to_read
from canalwright.records.caseview import CaseView
from canalwright.records.effective import effective
from canalwright.records.events import Event, Kind
from canalwright.records.patients import Identity
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.cases import due_words, tooth_words
from canalwright.web.records.screens.history import ends, said, voids
from canalwright.web.records.screens.page import button, field, form, table, told
from canalwright.web.words import Words

KEPT = (("film", "film"), ("labels", "labels (NRRD)"), ("segmentation", "labels (DICOM)"), ("scans", ""))
"""What may be kept with a check, and what it is called."""
TYPED = ("on", "short_mm", "void_percent", "text")
"""Fields of the forms of a case: what was typed comes back when it is refused."""


@dataclass(frozen=True)
class Begun:
    """A session at the chair: its name in the book, the canal, when it began."""

    ident: str
    canal: str
    began: datetime


def case(
    prefs: Prefs, token: str, view: CaseView, events: Sequence[Event], today: date, may: frozenset[Act],
    who: Identity | None, begun: Sequence[Begun], problem: str, typed: Mapping[str, str],
) -> Safe:  # fmt: skip
    """Everything about one case. `begun`: sessions at the chair that could be kept with it; `typed`: what was refused, to be mended."""
    words = prefs.words
    facts = [
        (words("Patient"), _patient(words, view, who, may)),
        (words("State"), words(view.status)),
        (words("Operator"), view.operator),
        (words("Filled"), view.filled),
        (words("Next recall"), due_words(words, view.next_due, today)),
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
        el("h1", tooth_words(prefs, view.tooth), " ", el("span", view.case_id, class_="quiet")),
        told(words(problem)),
        el("dl", *(join(el("dt", k), el("dd", v)) for k, v in facts if v), class_="facts"),
        el("p", *ways, class_="actions"),
        el("section", el("h2", words("Plans")), _plans(prefs, view, plans), class_="part"),
        _checks(words, view, events),
        _chairs(words, token, view, begun),
        _forms(words, token, view, may, {"on": today.isoformat(), **typed}),
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


def _checks(words: Words, view: CaseView, events: Sequence[Event]) -> Safe:
    """What came of each filling, by the checks that were kept and stand."""
    rows = []
    for e in effective(events):
        found = e.field("assessment") if e.kind is Kind.CHECK else None
        if not isinstance(found, dict):
            continue
        rows.append(
            (
                words(str(e.field("canal"))),
                words(str(e.field("assessment", "grade", "word"))),
                ends(words, found.get("to_terminus")),
                voids(words, found),
                words(str(found.get("basis"))),
                str(e.field("on") or ""),
                join(*(_kept(words, view, e, key, title) for key, title in KEPT)),
            )
        )
    if not rows:
        return Safe("")
    head = [words(h) for h in ("Canal", "Grade", "End of the filling", "Voids", "From", "On", "Kept with it")]
    return el("section", el("h2", words("What came of it")), table(head, rows, words("Checks kept")), class_="part")


def _kept(words: Words, view: CaseView, event: Event, key: str, title: str) -> Safe:
    """The way to what was kept with a check; of two scans their size, by which they are known again."""
    name = event.field(key)
    if key == "scans":
        sizes = [
            " × ".join(map(str, s)) for w in ("before", "after") if isinstance(s := event.field(key, w, "shape"), list)
        ]
        told = words("scans of {sizes} voxels; give the same two to see it again", sizes=", ".join(sizes))
        return el("p", told, class_="quiet") if sizes else Safe("")
    return el("div", el("a", words(title), href=f"/records/case/{view.case_id}/image/{name}")) if name else Safe("")


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


def _forms(words: Words, token: str, view: CaseView, may: frozenset[Act], typed: Mapping[str, str]) -> Safe:
    base = f"/records/case/{view.case_id}"
    parts = []
    if Act.RECORD_TREATMENT in may and not view.filled:
        inside = el(
            "div",
            field(words("Filled on"), "on", kind="date", value=typed["on"], required=True),
            field(
                words("Filling short of the terminus, mm"),
                "short_mm",
                value=typed.get("short_mm", ""),
                inputmode="decimal",
            ),
            field(words("Voids, %"), "void_percent", value=typed.get("void_percent", ""), inputmode="decimal"),
            class_="fields",
        )
        made = form(
            f"{base}/filled", token, inside, button(words("The tooth is filled"), main=False), kind="stack wide"
        )
        parts.append(el("section", el("h2", words("Filling finished")), made, class_="part"))
    if Act.RECORD_RECALL in may:
        note = field(words("Note"), "text", value=typed.get("text", ""), required=True, maxlength="4000")
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
        rows.append(
            (
                str(e.seq),
                f"{e.happened:%Y-%m-%d %H:%M}",
                e.author,
                words(e.kind.value),
                said(prefs, view.case_id, e),
                out,
            )
        )
    head = [words(h) for h in ("Entry", "UTC", "By", "What", "Content", "")]
    head[-1] = words("Mistake?")
    return table(head, rows, words("Entries of this case, the newest first"))
