"""How far one canal has come on the way, stage by stage.

What is shown is read from what lies on the table (the case, the plans that are made, the sessions at the chair, the check), never worked
out anew, so that it costs no waiting.
"""

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.guide import fold, steps_of
from canalwright.planning import Choices, Harm, Plan
from canalwright.web.chairbook import Chairbook, ChairbookError
from canalwright.web.office import Office
from canalwright.web.stages import Mark, State

LOOKED_AT = 12
"""Sessions at the chair that are looked through, the last ones."""


def marks(office: Office, case: Case, key: str, index: int) -> dict[str, Mark]:
    """What is to be said of each stage for one canal, by the stage's key."""
    plan = office.bench.there(case, index, Choices())
    check = office.checks.get(key, index)
    return {
        "tooth": _tooth(case, index),
        "ready": _ready(case, index),
        "plan": planned(plan),
        "chair": _chair(office.chairs.book, case, index, plan),
        "check": Mark(State.DONE, "graded") if check is not None else Mark(State.MISSING, "not checked yet"),
    }


def _tooth(case: Case, index: int) -> Mark:
    doubts = len(case.doubts) + len(case.canals[index].notes)
    return Mark(State.DOUBTFUL, "{n} doubtful", {"n": doubts}) if doubts else Mark(State.DONE, "measured")


def _ready(case: Case, index: int) -> Mark:
    record = case.record(case.canals[index].name)
    if record is None:
        return Mark(State.MISSING, "nothing noted yet")
    there = (record.soundings, record.points, record.irrigated)
    lacking = sum(not part for part in there)
    return Mark(State.DOUBTFUL, "{n} of 3 not noted", {"n": lacking}) if lacking else Mark(State.DONE, "noted")


def planned(plan: Plan | None) -> Mark:
    """What is to be said of a plan."""
    if plan is None:
        return Mark(State.MISSING, "not planned yet")
    bad = sum(f.harm >= Harm.CAUTION for f in plan.findings)
    return Mark(State.DOUBTFUL, "{n} warnings", {"n": bad}) if bad else Mark(State.DONE, "planned")


def _chair(book: Chairbook, case: Case, index: int, plan: Plan | None) -> Mark:
    text = casefile.dumps(case)
    for ident in book.listed()[:LOOKED_AT]:
        try:
            head, events = book.read(ident)
        except ChairbookError:
            continue
        if head.practice or head.canal != index or head.case != text:
            continue
        if plan is not None and fold(steps_of(plan), head.began, events).step is None:
            return Mark(State.DONE, "filled")
        return Mark(State.DOUBTFUL, "begun")
    return Mark(State.MISSING, "not begun")
