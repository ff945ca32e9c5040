"""Which case a plan belongs to."""

from collections.abc import Mapping, Sequence

from canalwright.casefile import Case
from canalwright.records.caseview import CaseView
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.cases import GRADES, patient_fields
from canalwright.web.records.screens.page import button, choice, form, told


def keep(
    prefs: Prefs, token: str, case: Case, index: int, known: Sequence[CaseView], chosen: str, given: Mapping[str, str],
    action: str, problem: str, what: str = "Keep this plan",
) -> Safe:  # fmt: skip
    """Choose a case of the same tooth, or open one."""
    words, canal = prefs.words, case.canals[index]
    options = [("", words("choose")), ("new", words("a new case"))]
    options += [(v.case_id, f"{v.case_id}, {v.patient}, {words(v.status)}") for v in known]
    chosen = chosen if any(value == chosen for value, _ in options) else ""
    fresh = el(
        "details",
        el("summary", words("For a new case: patient and state before")),
        el(
            "div",
            choice(
                words("Periapical index before"),
                "index_before",
                [(v, words(w)) for v, w in GRADES],
                given.get("index_before", ""),
            ),
            *patient_fields(words, given),
            class_="fields",
        ),
        class_="more",
        open=chosen == "new" or not known,
    )
    inside = (
        told(words(problem)),
        choice(words("Case"), "case", options, chosen or ("" if known else "new")),
        fresh,
        button(words(what)),
    )
    return join(
        el("h1", words("Keep in the records")),
        el("p", f"{prefs.tooth(case.tooth)} {words(canal.name)}: {case.label}", class_="quiet"),
        form(action, token, *inside, kind="stack wide"),
    )
