"""`Desk`: the records as one signed-in person may use them.

Every call checks the session, the role and, for a student, whose case it is; every look at a person's data and every
refusal is logged. Shells that serve people use this and nothing below it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from canalwright.records.accounts import AccessLog, Act, Role, Session, SignIn, Users, may
from canalwright.records.accounts.roles import OWN_ONLY
from canalwright.records.backup import Backup
from canalwright.records.blind import masked, second
from canalwright.records.canonical import Json
from canalwright.records.cases import Order, Page
from canalwright.records.caseview import CaseView, Status
from canalwright.records.chain import Head
from canalwright.records.checks import kept_checks
from canalwright.records.effective import effective
from canalwright.records.errors import NotAllowed, NotFound
from canalwright.records.events import Event, Kind
from canalwright.records.outcomes.cases import CaseOutcome, outcomes_of
from canalwright.records.patients import Identity
from canalwright.records.plans import PlanRecord
from canalwright.records.recall.calendar import calendar_of
from canalwright.records.retention import Expired, Retention, expired
from canalwright.records.store import Store

TREATMENT = frozenset({Kind.MEASUREMENT, Kind.PLAN, Kind.CHAIR, Kind.CHECK, Kind.CLOSE})


@dataclass(frozen=True)
class Desk:
    """The records at the hand of one session. Every method raises NotAllowed, SessionLocked or SessionEnded."""

    store: Store
    door: SignIn
    token: str

    @property
    def session(self) -> Session:
        """Whose desk it is."""
        return self.door.session(self.token)

    def cases(
        self,
        *,
        status: Status | None = None,
        tooth: int | None = None,
        patient: str | None = None,
        order: Order = "last_seq",
        descending: bool = True,
        limit: int = 50,
        offset: int = 0,
    ) -> Page:
        """The list of cases; a student's own."""
        who = self._allow(Act.SEE_LISTS)
        return self.store.cases.page(
            operator=_own(who), status=status, tooth=tooth, patient=patient, order=order, descending=descending,
            limit=limit, offset=offset,
        )  # fmt: skip

    def due(self, by: date, limit: int = 50, offset: int = 0) -> Page:
        """Recalls due on or before a day."""
        return self.store.cases.due(by, operator=_own(self._allow(Act.SEE_LISTS)), limit=limit, offset=offset)

    def overdue(self, today: date, limit: int = 50, offset: int = 0) -> Page:
        """Recalls overdue."""
        return self.store.cases.overdue(today, operator=_own(self._allow(Act.SEE_LISTS)), limit=limit, offset=offset)

    def case(self, case: str) -> tuple[CaseView, list[Event]]:
        """A case with its events as they stand now. Raises NotFound."""
        view = self._case(Act.SEE_CASE, case)
        return view, effective(self._seen(case))

    def history(self, case: str) -> list[Event]:
        """All events of a case as they were recorded, corrections and what was handed over among them. Raises NotFound."""
        self._case(Act.SEE_CASE, case)
        return self._seen(case)

    def plan(self, case: str, canal: str, seq: int | None = None) -> PlanRecord:
        """The plan of a canal now, or as it was at event `seq`. Raises NotFound."""
        self._case(Act.SEE_CASE, case)
        return self.store.plans.at(case, canal, seq)

    def image(self, case: str, name: str) -> tuple[str, bytes]:
        """Kind and content of an image of a case. Raises NotFound."""
        self._case(Act.SEE_CASE, case)
        found = self.store.images.get(name)
        if found.case != case:
            raise NotFound(f"case {case} has no image {name}")
        return found.media, found.content

    def identity(self, patient: str) -> Identity:
        """Who a patient is. Raises NotFound, Erased, IdentityLocked."""
        self._allow(Act.SEE_IDENTITY, patient=patient, log=True)
        return self.store.patients.identity(patient)

    def find(self, words: str) -> list[str]:
        """Patients by name, number or date of birth."""
        self._allow(Act.SEE_IDENTITY, log=True, detail="search")
        return self.store.patients.find(words)

    def add_patient(self, identity: Identity | None = None) -> str:
        """Add a patient; gives the pseudonym."""
        return self.store.patients.add(self._allow(Act.ADD_PATIENT, log=True).name, identity)

    def identify(self, patient: str, identity: Identity) -> None:
        """Set or change who a patient is."""
        self._allow(Act.SEE_IDENTITY, patient=patient)
        who = self._allow(Act.ADD_PATIENT, patient=patient, log=True, detail="identity changed")
        self.store.patients.identify(patient, identity, who.name)

    def open_case(self, patient: str, payload: Mapping[str, object]) -> str:
        """Open a case of one's own; gives its name."""
        who = self._allow(Act.OPEN_CASE, patient=patient)
        operator = {} if who.role is Role.CLINICIAN and payload.get("operator") else {"operator": who.name}
        return self.store.cases.open(patient, {**payload, **operator}, who.name)

    def record(self, case: str, kind: Kind, payload: Mapping[str, object]) -> int:
        """Record one event of a case; gives its number."""
        act = Act.RECORD_TREATMENT if kind in TREATMENT else Act.RECORD_RECALL
        self._case(act, case)
        return self.store.cases.record(case, kind, payload, self.session.name)

    def weigh(self, case: str, kind: Kind, payload: Mapping[str, object]) -> None:
        """Whether an event could be recorded, before what goes with it is kept. Raises BadEntry."""
        self._case(Act.RECORD_TREATMENT if kind in TREATMENT else Act.RECORD_RECALL, case)
        self.store.cases.weigh(case, kind, payload)

    def attach(self, case: str, content: bytes, label: str) -> str:
        """Keep an image; gives its id."""
        self._case(Act.RECORD_RECALL, case)
        return self.store.images.attach(case, content, label, self.session.name)

    def correct(self, case: str, seq: int, payload: Mapping[str, object] | None, reason: str) -> int:
        """Correct or withdraw an event of a case; a student only entries of their own."""
        self._case(Act.CORRECT, case)
        who = self.session
        event = next((e for e in self.store.cases.events(case) if e.seq == seq), None)
        if event is None:
            raise NotFound(f"case {case} has no event {seq}")
        if who.role in OWN_ONLY and event.author != who.name:
            self._refuse(who, Act.CORRECT, case=case)
        return self.store.cases.correct(seq, payload, reason, who.name)

    def read_second(self, case: str, seq: int, grades: Mapping[str, int]) -> int:
        """Add the second reading of a film, made without seeing the first; gives the number of the entry. Raises BadEntry, NotFound."""
        self._case(Act.RECORD_RECALL, case)
        event = next((e for e in self.store.cases.now(case) if e.seq == seq), None)
        if event is None:
            raise NotFound(f"case {case} has no event {seq}")
        name = self.session.name
        return self.store.cases.correct(seq, second(event, name, grades), "second reading, blind", name)

    def outcomes(self, today: date) -> list[CaseOutcome]:
        """One row a filled tooth, for the statistics; a student's own. Pseudonyms only."""
        who = self._allow(Act.SEE_OUTCOMES, log=True)
        return outcomes_of(self.store, today, _own(who))

    def checks(self) -> list[dict[str, Json]]:
        """The checks of one's own cases, oldest first."""
        return kept_checks(self.store, self._allow(Act.SEE_LISTS, log=True, detail="own checks").name)

    def calendar(self, by: date) -> bytes:
        """Recalls due up to a day as iCalendar, under pseudonyms."""
        who = self._allow(Act.TAKE_OUT, log=True, detail="calendar")
        views = self.store.cases.due(by, operator=_own(who), limit=500).rows
        return calendar_of(views, self.store.vault.clock(), self.store.vault.key_file.store)

    def write_case(self, case: str, path: Path) -> None:
        """Write a case as an archive."""
        self._case(Act.TAKE_OUT, case)
        self.store.transfer.write_case(case, path, self.session.name)

    def hand_over(
        self, case: str, what: Mapping[str, object], *, names: bool = False
    ) -> tuple[CaseView, list[Event], Identity | None]:
        """A case with all its events as recorded, to be written as a letter, casebook or file; `what` is recorded before.

        `names` asks for the identity too.
        """
        view = self._case(Act.TAKE_OUT, case)
        who = self.identity(view.patient) if names else None
        self.store.transfer.note(what, self.session.name, view.patient, case)
        return self.store.cases.view(case), self._seen(case), who

    def write_person(self, patient: str, path: Path) -> None:
        """Write all that is kept of a person."""
        self._allow(Act.TAKE_OUT, patient=patient)
        who = self._allow(Act.SEE_IDENTITY, patient=patient, log=True, detail="all data written out")
        self.store.transfer.write_person(patient, path, who.name)

    def read_case(self, path: Path, patient: str | None = None) -> str:
        """Take in an archive; gives the name of the case."""
        return self.store.transfer.read_case(path, self._allow(Act.TAKE_IN, log=True).name, patient)

    def erase(self, patient: str, reason: str, password: str, code: str = "") -> None:
        """Erase a person's data for good; the password is asked for again."""
        who = self._allow(Act.ERASE, patient=patient, log=True)
        self.door.check(who.name, password, code, who.source)
        self.store.patients.erase(patient, reason, who.name)

    def hold(self, patient: str, holding: bool, reason: str) -> None:
        """Keep a person's data beyond the retention rule, or let go of it again."""
        who = self._allow(Act.ERASE, patient=patient, log=True, detail="held" if holding else "no longer held")
        self.store.patients.hold(patient, holding, reason, who.name)

    def expired(self, rule: Retention, today: date) -> list[Expired]:
        """Who is past the retention rule."""
        self._allow(Act.ERASE, log=True, detail="retention list")
        return expired(self.store.patients, rule, today)

    def back_up(self) -> Backup:
        """Make a backup, tried out."""
        self._allow(Act.BACK_UP, log=True)
        return self.store.backups.make()

    def verify(self) -> Head:
        """Check every event, every page and the access log. Raises StoreDamaged."""
        self._allow(Act.BACK_UP, log=True, detail="verified")
        self.door.users.log.verify()
        return self.store.verify()

    @property
    def users(self) -> Users:
        """The users, for whoever manages them."""
        self._allow(Act.MANAGE_USERS)
        return self.door.users

    @property
    def access_log(self) -> AccessLog:
        """The access log."""
        self._allow(Act.SEE_ACCESS_LOG, log=True)
        return self.door.users.log

    def allowed(self, act: Act) -> bool:
        """Whether to show an act at all."""
        return may(self.session.role, act)

    def _seen(self, case: str) -> list[Event]:
        """All events of a case as this reader may see them: a film that awaits their blind reading keeps its grades to itself."""
        return masked(self.store.cases.events(case), self.session.name)

    def _case(self, act: Act, case: str) -> CaseView:
        """The case, when the act is allowed with it; a student is not told that the case of another exists."""
        who = self._allow(act, case=case)
        view = self.store.cases.view(case)
        if who.role in OWN_ONLY and view.operator != who.name:
            self._note(who, "refused", act.value, case=case)
            raise NotFound(f"there is no case {case}, or its data was erased")
        self._note(who, act.value, patient=view.patient, case=case)
        return view

    def _allow(self, act: Act, *, patient: str = "", case: str = "", log: bool = False, detail: str = "") -> Session:
        who = self.session
        if not may(who.role, act):
            self._refuse(who, act, patient=patient, case=case)
        if log:
            self._note(who, act.value, detail, patient=patient, case=case)
        return who

    def _refuse(self, who: Session, act: Act, *, patient: str = "", case: str = "") -> None:
        self._note(who, "refused", act.value, patient=patient, case=case)
        raise NotAllowed(f"a {who.role.value} may not {act.value}: ask a clinician")

    def _note(self, who: Session, act: str, detail: str = "", *, patient: str = "", case: str = "") -> None:
        with self.store.vault.writing() as connection:
            self.door.users.log.note(connection, who.name, act, detail, patient=patient, case=case)


def _own(who: Session) -> str | None:
    return who.name if who.role in OWN_ONLY else None
