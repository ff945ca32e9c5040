"""One line of the list of cases, derived from the events of the case and from nothing else."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from canalwright.records.effective import effective
from canalwright.records.errors import BadEntry
from canalwright.records.events import Event, Kind
from canalwright.records.moments import day, stamp
from canalwright.records.recall import GUIDELINE, Rule, Visit, judge, next_due

Status = Literal["open", "planned", "filled", "closed"]
VERSION = "1"
AWAITING = "awaiting the second reader"
"""The outcome while a blind second reading is awaited: a verdict would tell the first."""
FOLDED = frozenset({Kind.CASE, Kind.CHAIR, Kind.CHECK, Kind.SCHEDULE, Kind.RECALL, Kind.CORRECTION})


@dataclass(frozen=True)
class CaseView:
    """A case at a glance. Dates are ISO text, empty when there is none yet. `tooth` by ISO 3950.

    `origin` names the case that an imported one came from, `<store>:<case>`.
    """

    case_id: str
    patient: str
    operator: str
    tooth: int
    opened: str
    status: Status
    filled: str
    plans: int
    recalls: int
    last_recall: str
    next_due: str
    outcome: str
    last_seq: int
    last_time: str
    origin: str = ""


def fold(events: Sequence[Event]) -> CaseView | None:
    """The view of one case from all its events in order; None when its first event is missing or erased.

    Payloads are needed only of the kinds in FOLDED.
    """
    if not events:
        return None
    now = effective(events)
    first = next((e for e in now if e.kind is Kind.CASE and e.payload is not None), None)
    if first is None:
        return None
    filled, visits = filled_on(now), visits_of(now)
    closed = any(e.kind is Kind.CLOSE for e in now)
    plans = sum(e.kind is Kind.PLAN for e in now)
    gone = bool(visits and visits[-1].lost)
    due = next_due(rule_of(now), filled, [v.on for v in visits]) if filled and not (closed or gone) else None
    tooth = first.field("tooth")
    view = CaseView(
        case_id=first.case,
        patient=first.patient,
        operator=str(first.field("operator") or first.author),
        tooth=tooth if isinstance(tooth, int) else 0,
        opened=stamp(first.happened),
        status="closed" if closed or gone else "filled" if filled else "planned" if plans else "open",
        filled=filled.isoformat() if filled else "",
        plans=plans,
        recalls=len(visits),
        last_recall=visits[-1].on.isoformat() if visits else "",
        next_due=due.isoformat() if due else "",
        outcome=_outcome(visits[-1], filled, index_before(now)) if visits and filled else "",
        last_seq=events[-1].seq,
        last_time=stamp(events[-1].time),
    )
    return replace(view, origin=f"{first.origin.store}:{first.origin.case}") if first.origin else view


def _outcome(visit: Visit, filled: date, before: int | None) -> str:
    return AWAITING if visit.awaits and not visit.lost else judge(visit, filled, before).verdict.value


def filled_on(events: Iterable[Event]) -> date | None:
    """The day on which the filling was finished: of the first chair log that says `finished`, or of the first check."""
    for event in events:
        if event.kind is Kind.CHECK or (event.kind is Kind.CHAIR and event.field("finished") is True):
            on = event.field("on")
            try:
                return day(on) if on else event.happened.date()
            except BadEntry:
                return event.happened.date()
    return None


def rule_of(events: Iterable[Event]) -> Rule:
    """The recall rule last chosen, or the guideline's."""
    rule = GUIDELINE
    for event in events:
        if event.kind is Kind.SCHEDULE and event.payload is not None:
            rule = Rule.from_json(event.payload)
    return rule


def visits_of(events: Iterable[Event]) -> list[Visit]:
    """The recalls in order of their date."""
    found = [Visit.from_json(e.payload) for e in events if e.kind is Kind.RECALL and e.payload is not None]
    return sorted(found, key=lambda v: v.on)


def index_before(events: Iterable[Event]) -> int | None:
    """Worst periapical index before treatment, as the case was opened with; None when unknown."""
    for event in events:
        index = event.field("index_before") if event.kind is Kind.CASE else None
        if isinstance(index, int):
            return index
        if isinstance(index, dict):
            return max((g for g in index.values() if isinstance(g, int)), default=None)
    return None
