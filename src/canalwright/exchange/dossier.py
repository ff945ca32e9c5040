"""`Dossier`: one case as it is handed over, read from the records and never from anything else.

Letter, leaflet, casebook, DICOM and FHIR are all written from it, so that they cannot contradict each other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from canalwright.anatomy.tooth import Tooth
from canalwright.exchange.errors import ExchangeError
from canalwright.exchange.facts import Fact, of_assessment, of_chair, of_check, of_plan
from canalwright.records.canonical import Json
from canalwright.records.caseview import CaseView, visits_of
from canalwright.records.effective import effective
from canalwright.records.events import Event, Kind
from canalwright.records.patients import Identity
from canalwright.records.recall import Visit


@dataclass(frozen=True)
class CanalStory:
    """One canal: its newest plan (None without one) and its number, newest assessment, chair logs, numbers, findings as kept."""

    name: str
    plan: Mapping[str, Json] | None
    plan_seq: int
    measured: int
    choices: str
    assessment: Mapping[str, Json] | None
    chairs: tuple[Event, ...]
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Dossier:
    """A case. `events` are all as recorded, `now` as they stand (corrections applied); `identity` None where names stay out.

    `store` names the records that it comes from.
    """

    store: str
    view: CaseView
    tooth: Tooth
    identity: Identity | None
    events: tuple[Event, ...]
    now: tuple[Event, ...]
    canals: tuple[CanalStory, ...]
    facts: tuple[Fact, ...]
    visits: tuple[Visit, ...]

    @property
    def numbers(self) -> tuple[Fact, ...]:
        """Every number, of the canals first."""
        return (*(f for c in self.canals for f in c.facts), *self.facts)

    @property
    def patient(self) -> str:
        """The name where it is given, else the pseudonym."""
        return (self.identity.name if self.identity else "") or self.view.patient


def dossier_of(store: str, view: CaseView, events: Sequence[Event], identity: Identity | None = None) -> Dossier:
    """Read a case. `events` are all of it as recorded. Raises ExchangeError when its data was erased or its tooth is not known."""
    now = tuple(effective(events))
    if not any(e.kind is Kind.CASE and e.payload is not None for e in now):
        raise ExchangeError(f"case {view.case_id}: its data was erased; nothing is left to hand over")
    if not view.tooth:
        raise ExchangeError(f"case {view.case_id}: no tooth is recorded; correct the opening of the case")
    names = dict.fromkeys(_canal(e) for e in now if e.kind in (Kind.PLAN, Kind.CHAIR, Kind.CHECK) and _canal(e))
    canals = tuple(_story(name, now) for name in names)
    whole = [
        fact
        for e in now
        if e.kind is Kind.CHECK and e.payload is not None and not _canal(e)
        for fact in of_check(e.payload, "", e.seq)
    ]
    return Dossier(
        store, view, Tooth(view.tooth), identity, tuple(events), now, canals, tuple(whole), tuple(visits_of(now))
    )


def assessment_of(event: Event) -> Mapping[str, Json] | None:
    """The assessment that a check holds, if it holds one."""
    payload = event.payload or {}
    held = payload.get("assessment", payload)
    return held if isinstance(held, Mapping) and "to_terminus" in held else None


def _canal(event: Event) -> str:
    """The canal that an entry is about; empty when it is about the tooth."""
    name = event.field("canal")
    if isinstance(name, str) and name:
        return name
    held = assessment_of(event)
    return str(held.get("canal") or "") if held else ""


def _story(name: str, now: Sequence[Event]) -> CanalStory:
    mine = [e for e in now if e.payload is not None and _canal(e) == name]
    plan = next((e for e in reversed(mine) if e.kind is Kind.PLAN), None)
    content = plan.field("plan") if plan else None
    kept = content if isinstance(content, Mapping) else None
    chairs = tuple(e for e in mine if e.kind is Kind.CHAIR)
    checks = [e for e in mine if e.kind is Kind.CHECK]
    seen = next((e for e in reversed(checks) if assessment_of(e)), None)
    found = assessment_of(seen) if seen else None
    facts: list[Fact] = []
    if plan and kept:
        facts += of_plan(kept, name, plan.seq)
    for chair in chairs:
        facts += of_chair(chair.payload or {}, name, chair.seq)
    if seen and found:
        facts += of_assessment(found, name, seen.seq)
    for check in (c for c in checks if assessment_of(c) is None):
        facts += of_check(check.payload or {}, name, check.seq)
    measured = plan.field("measured") if plan else None
    choices = plan.field("choices") if plan else None
    return CanalStory(
        name, kept, plan.seq if plan else 0, measured if isinstance(measured, int) else 0,
        choices if isinstance(choices, str) else "", found, chairs, tuple(facts),
    )  # fmt: skip
