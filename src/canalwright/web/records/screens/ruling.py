"""The screen of the rules of one case."""

from collections.abc import Mapping, Sequence

from canalwright.records.accounts import Act
from canalwright.records.caseview import CaseView, rule_of
from canalwright.records.events import Event
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens.page import button, field, form, told
from canalwright.web.words import Words


def rules(
    words: Words, token: str, view: CaseView, events: Sequence[Event], may: frozenset[Act], problem: str, said: str,
    given: Mapping[str, str],
) -> Safe:  # fmt: skip
    """Recall rule, closing, holding, taking out, erasing: each only for who may; `given` was typed for an erasing that failed."""
    base = f"/records/case/{view.case_id}"
    parts = []
    if Act.RECORD_RECALL in may:
        parts.append(_schedule(words, token, base, events))
    if Act.RECORD_TREATMENT in may and view.status != "closed":
        parts.append(_close(words, token, base))
    if Act.TAKE_OUT in may:
        parts.append(_taken_out(words, token, base, Act.SEE_IDENTITY in may))
    if Act.ERASE in may:
        parts += [_hold(words, token, base), _erase(words, token, base, view, given)]
    return join(
        el("h1", words("Rules and erasing"), " ", el("span", f"{view.tooth}, {view.case_id}", class_="quiet")),
        told(words(problem)),
        el("p", said, role="status", class_="said") if said else "",
        el("p", el("a", words("Back to the case"), href=base, class_="button")),
        *parts,
    )


def _schedule(words: Words, token: str, base: str, events: Sequence[Event]) -> Safe:
    rule = rule_of(events)
    now = words(
        "Now: {name}, {months} months after the filling.",
        name=words(rule.name),
        months=", ".join(map(str, rule.months)),
    )
    inside = el(
        "div",
        field(
            words("Months, such as 6,12,24; empty for the guideline"), "months", inputmode="numeric", autocomplete="off"
        ),
        field(words("What the rule is called"), "name", maxlength="100", autocomplete="off"),
        class_="fields",
    )
    made = form(
        f"{base}/rules/schedule", token, inside, button(words("Set the recalls"), main=False), kind="stack wide"
    )
    return el("section", el("h2", words("When to recall")), el("p", now, class_="quiet"), made, class_="part")


def _close(words: Words, token: str, base: str) -> Safe:
    made = form(
        f"{base}/rules/close",
        token,
        field(words("Reason, without a name"), "reason", ident="close", maxlength="500", autocomplete="off"),
        _sure(words, words("nobody shall be recalled for this case any more"), "close"),
        button(words("Close the case"), main=False),
        kind="stack wide",
    )
    return el("section", el("h2", words("Close the case")), made, class_="part")


def _taken_out(words: Words, token: str, base: str, names: bool) -> Safe:
    what = words("The archive holds the pseudonym only; all data of the person names them. Neither is encrypted.")
    ways = [form(f"{base}/rules/archive", token, button(words("Archive of the case"), main=False))]
    if names:
        ways.append(form(f"{base}/rules/person", token, button(words("All data of the person"), main=False)))
    return el(
        "section",
        el("h2", words("Take out")),
        el("p", what, class_="quiet"),
        el("div", *ways, class_="actions"),
        class_="part",
    )


def _hold(words: Words, token: str, base: str) -> Safe:
    made = form(
        f"{base}/rules/hold",
        token,
        field(
            words("Reason, without a name"), "reason", ident="hold", required=True, maxlength="500", autocomplete="off"
        ),
        el(
            "p",
            button(words("Hold the data"), main=False, name="act", value="hold"),
            " ",
            button(words("Let go of it"), main=False, name="act", value="release"),
            class_="actions",
        ),
        kind="stack wide",
    )
    what = words("Held data is kept beyond the rule of retention, in a dispute, say.")
    return el("section", el("h2", words("Hold")), el("p", what, class_="quiet"), made, class_="part")


def _erase(words: Words, token: str, base: str, view: CaseView, given: Mapping[str, str]) -> Safe:
    inside = el(
        "div",
        field(
            words("Who asked for it, without a name"),
            "reason",
            ident="erase",
            value=given.get("reason", ""),
            required=True,
            maxlength="500",
            autocomplete="off",
        ),
        field(
            words("Pseudonym, typed once more"),
            "pseudonym",
            value=given.get("pseudonym", ""),
            required=True,
            autocomplete="off",
            spellcheck="false",
        ),
        field(words("Your password"), "password", kind="password", required=True, autocomplete="current-password"),
        field(words("Code, where you have a second factor"), "code", inputmode="numeric", autocomplete="one-time-code"),
        class_="fields",
    )
    what = words(
        "All cases of {patient} are gone for good, in the backups beside the records too. Copies elsewhere are yours to delete.",
        patient=view.patient,
    )
    made = form(f"{base}/rules/erase", token, inside, button(words("Erase for good"), main=False), kind="stack wide")
    title = el("summary", words("Erase this person's data"))
    inner = el("details", title, el("p", what, class_="problems"), made, open=bool(given))
    return el("section", el("h2", words("Erase")), inner, class_="part")


def _sure(words: Words, what: str, ident: str) -> Safe:
    mark = f"f-sure-{ident}"
    box = el("input", type="checkbox", id=mark, name="sure", value="yes", required=True)
    return el("p", box, " ", el("label", words("I am sure: {what}", what=what), for_=mark))
