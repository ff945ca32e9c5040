"""Plans of a case: the one that counts now, and any earlier one as it was."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from canalwright.records.canonical import Json
from canalwright.records.cases import Cases
from canalwright.records.effective import effective
from canalwright.records.errors import NotFound
from canalwright.records.events import Event, Kind


@dataclass(frozen=True)
class PlanRecord:
    """One plan as recorded: `seq` names it for good; `canal` is the canal's name in the tooth; `content` the plan."""

    seq: int
    time: datetime
    author: str
    canal: str
    content: dict[str, Json]


@dataclass(frozen=True)
class Plans:
    """The plans of the records."""

    cases: Cases

    def record(self, case: str, canal: str, content: dict[str, Json], author: str) -> int:
        """Keep a plan; gives the number by which it can always be shown again."""
        return self.cases.record(case, Kind.PLAN, {"canal": canal, "plan": content}, author)

    def all(self, case: str, canal: str | None = None) -> list[PlanRecord]:
        """Every plan of a case as it was recorded, the oldest first, corrected and withdrawn ones among them."""
        return _plans(self.cases.events(case), canal)

    def current(self, case: str, canal: str) -> PlanRecord:
        """The plan that counts now for a canal, corrections applied. Raises NotFound."""
        return self.at(case, canal, None)

    def at(self, case: str, canal: str, seq: int | None) -> PlanRecord:
        """The plan that counted for a canal just after event `seq` (None: now). Raises NotFound."""
        events = [e for e in self.cases.events(case) if seq is None or e.seq <= seq]
        found = _plans(effective(events), canal)
        if not found:
            raise NotFound(f"canal {canal!r} of case {case} had no plan{f' at event {seq}' if seq else ''}")
        return found[-1]


def _plans(events: Iterable[Event], canal: str | None) -> list[PlanRecord]:
    found = [_plan(e) for e in events if e.kind is Kind.PLAN and e.payload is not None]
    return [p for p in found if canal is None or p.canal == canal]


def _plan(event: Event) -> PlanRecord:
    content = event.field("plan")
    return PlanRecord(
        event.seq,
        event.happened,
        event.origin.author if event.origin else event.author,
        str(event.field("canal") or ""),
        content if isinstance(content, dict) else {},
    )
