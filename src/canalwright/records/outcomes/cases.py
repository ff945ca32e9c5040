"""What became of each case, gathered from its events: one row a case, ready for the statistics."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from canalwright.anatomy.tooth import Tooth
from canalwright.records.canonical import Json
from canalwright.records.caseview import filled_on, index_before, rule_of, visits_of
from canalwright.records.effective import effective
from canalwright.records.events import Event, Kind
from canalwright.records.recall import Verdict, Visit, judge
from canalwright.records.recall.rules import overdue
from canalwright.records.schema import event
from canalwright.records.store import Store

Factor = float | bool | str
DAYS_A_MONTH = 365.2425 / 12
LOGGED = frozenset({Kind.CASE, Kind.CHAIR, Kind.CHECK})
NEEDED = LOGGED | {Kind.SCHEDULE, Kind.RECALL, Kind.PLAN, Kind.CORRECTION}
MOST_FACTORS = 200


@dataclass(frozen=True)
class CaseOutcome:
    """A filled tooth and what was seen of it since. Times in months after the filling.

    `seen`: last visit, None when there was none; `healed`: first visit healed by strict criteria; `lost`: visit that found
    the tooth gone, for `lost_for`. `strict`, `loose`: by the last visit, None when it did not tell or awaits a
    blind second reader. `missed`: a recall is overdue. `factors`: everything logged that is one number, word or yes/no, by
    dotted name. `judged`: where visits await a second reader, the last one that does not (0 when none); else None.
    """

    case: str
    patient: str
    operator: str
    tooth: int
    filled: date
    seen: float | None
    healed: float | None
    lost: float | None
    lost_for: str
    strict: bool | None
    loose: bool | None
    missed: bool
    factors: Mapping[str, Factor]
    grades: tuple[Mapping[str, int], ...] = ()
    judged: float | None = None

    @property
    def told(self) -> float | None:
        """The last visit that says whether the tooth healed: what awaits a second reader does not yet."""
        return self.seen if self.judged is None else self.judged


def outcomes_of(store: Store, today: date, operator: str | None = None) -> list[CaseOutcome]:
    """One row for each filled tooth, of one operator where wanted; erased persons are gone from it."""
    found: list[CaseOutcome] = []
    with store.vault.reading() as connection:
        events = store.ledger.read(connection, event.c.case_id != "", payload_of=NEEDED)
        for _, of_case in groupby(sorted(events, key=lambda e: (e.case, e.seq)), key=lambda e: e.case):
            row = outcome_of(effective(of_case), today)
            if row and operator in (None, row.operator):
                found.append(row)
    return found


def outcome_of(events: list[Event], today: date) -> CaseOutcome | None:
    """The row of one case from its events as they stand now; None when it is not filled, or erased."""
    first = next((e for e in events if e.kind is Kind.CASE and e.payload is not None), None)
    filled = filled_on(events)
    if first is None or filled is None:
        return None
    before = index_before(events)
    visits = [v for v in visits_of(events) if v.on >= filled]
    judged = [(v, judge(v, filled, before)) for v in visits if v.lost or not v.awaits]
    healed = next((v for v, j in judged if j.verdict is Verdict.HEALED), None)
    gone = next((v for v in visits if v.lost), None)
    last = judged[-1][1] if judged and judged[-1][0] is visits[-1] else None
    waiting = len(judged) < len(visits)
    tooth = first.field("tooth")
    return CaseOutcome(
        case=first.case,
        patient=first.patient,
        operator=str(first.field("operator") or first.author),
        tooth=tooth if isinstance(tooth, int) else 0,
        filled=filled,
        seen=_months(visits[-1] if visits else None, filled),
        healed=_months(healed, filled),
        lost=_months(gone, filled),
        lost_for=gone.lost if gone else "",
        strict=last.strict if last else None,
        loose=last.loose if last else None,
        missed=_missed(events, filled, visits, today, bool(gone)),
        factors=_factors(events, before, tooth if isinstance(tooth, int) else 0, visits),
        grades=tuple(readers for v in visits for readers in v.index.values() if len(readers) > 1),
        judged=(_months(judged[-1][0] if judged else None, filled) or 0.0) if waiting else None,
    )


def _months(visit: Visit | None, filled: date) -> float | None:
    return (visit.on - filled).days / DAYS_A_MONTH if visit else None


def _missed(events: list[Event], filled: date, visits: list[Visit], today: date, gone: bool) -> bool:
    from canalwright.records.recall import next_due

    due = next_due(rule_of(events), filled, [v.on for v in visits])
    return not gone and due is not None and overdue(due, today)


def _factors(events: Iterable[Event], before: int | None, tooth: int, visits: list[Visit]) -> dict[str, Factor]:
    """Everything logged, by name; what is logged twice counts as logged last."""
    found: dict[str, Factor] = {}
    for each in events:
        if each.kind in LOGGED and each.payload:
            told = {k: v for k, v in each.payload.items() if k not in ("assessment", "marks")}
            _flatten(each.kind.value, told, found)
        if each.kind is Kind.PLAN:
            _from_plan(each, found)
    if before is not None:
        found["lesion before"] = before > 2
    if tooth:
        position = Tooth(tooth).position
        found["tooth group"] = "front" if position <= 3 else "premolar" if position <= 5 else "molar"
        found["upper jaw"] = Tooth(tooth).upper
    restored = [v.restoration for v in visits if v.restoration is not None]
    if restored:
        found["restored"] = restored[-1]
    return found


def _from_plan(plan: Event, found: dict[str, Factor]) -> None:
    rounds = plan.field("plan", "rounds")
    if isinstance(rounds, list):
        found["plan.rounds"] = len(rounds)
    margin = plan.field("plan", "heat", "margin", "value")
    if isinstance(margin, int | float):
        found["plan.heat margin"] = min(float(margin), float(found.get("plan.heat margin", margin)))


def _flatten(name: str, value: Json, found: dict[str, Factor]) -> None:
    if len(found) >= MOST_FACTORS:
        return
    if isinstance(value, dict):
        for key, inner in value.items():
            _flatten(f"{name}.{key}", inner, found)
    elif isinstance(value, bool | int | float | str) and value != "":
        found[name] = value
