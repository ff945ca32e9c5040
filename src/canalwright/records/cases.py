"""Cases: opening them, recording what happens to them, and the lists."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from itertools import groupby
from typing import Literal

from sqlalchemy import ColumnElement, Connection, delete, func, insert, select

from canalwright.records.caseview import FOLDED, CaseView, Status, fold
from canalwright.records.effective import effective
from canalwright.records.errors import BadEntry, NotFound
from canalwright.records.events import Entry, Event, Kind
from canalwright.records.identity import born_of
from canalwright.records.ledger import Ledger
from canalwright.records.payloads import check_payload
from canalwright.records.pseudonym import new_name
from canalwright.records.recall.rules import GRACE
from canalwright.records.schema import case_view
from canalwright.records.schema import event as events
from canalwright.records.sense import NAMES, WEIGHED, as_if, refuse_new
from canalwright.records.vault import Vault

Order = Literal["last_seq", "opened", "tooth", "filled", "next_due", "patient", "status"]
MOST_ROWS = 500


@dataclass(frozen=True)
class Page:
    """A part of a list, and how long the whole list is."""

    rows: tuple[CaseView, ...]
    total: int


@dataclass(frozen=True)
class Cases:
    """The cases of the records."""

    vault: Vault
    ledger: Ledger

    def open(self, patient: str, payload: Mapping[str, object], author: str) -> str:
        """Open a case for a patient's tooth; gives its name. Raises BadEntry, NotFound, Erased."""
        check_payload(Kind.CASE, payload)
        case = new_name("C")
        with self.vault.writing() as connection:
            self.ledger.append(connection, [Entry(Kind.CASE, payload, author, patient, case)])
            self.refresh(connection, case)
        return case

    def record(self, case: str, kind: Kind, payload: Mapping[str, object], author: str) -> int:
        """Record one event of a case; gives its number. Raises BadEntry, NotFound, Erased."""
        return self.record_all([(case, kind, payload)], author)[0]

    def record_all(self, entries: Iterable[tuple[str, Kind, Mapping[str, object]]], author: str) -> list[int]:
        """Record several events, all of them or none; gives their numbers."""
        given = list(entries)
        for _, kind, payload in given:
            if not kind.of_user:
                raise BadEntry(f"an event of kind {kind.value} has an act of its own and is not recorded by hand")
            check_payload(kind, payload)
        with self.vault.writing() as connection:
            owners = {case: self.owner(connection, case) for case in {case for case, _, _ in given}}
            for case in owners:
                self._weigh(connection, case, [(kind, payload) for of, kind, payload in given if of == case])
            rows = [Entry(kind, payload, author, owners[case], case) for case, kind, payload in given]
            numbers = self.ledger.append(connection, rows)
            for case in owners:
                self.refresh(connection, case)
        return numbers

    def weigh(self, case: str, kind: Kind, payload: Mapping[str, object]) -> None:
        """Whether an event could be recorded, before what goes with it is kept. Raises BadEntry, NotFound, Erased."""
        check_payload(kind, payload)
        with self.vault.reading() as connection:
            self._weigh(connection, case, [(kind, payload)])

    def of_patient(self, connection: Connection, patient: str) -> list[list[Event]]:
        """What is recorded of each case of a patient as it stands now, as far as its sense is judged by it."""
        query = (events.c.patient == patient, events.c.case_id != "")
        known = sorted(self.ledger.read(connection, *query, payload_of=WEIGHED), key=lambda e: (e.case, e.seq))
        return [effective(of_case) for _, of_case in groupby(known, key=lambda e: e.case)]

    def correct(self, seq: int, payload: Mapping[str, object] | None, reason: str, author: str) -> int:
        """Correct event `seq`, or withdraw it with None; what was written stays readable. Gives the new number."""
        if not reason.strip():
            raise BadEntry("a correction needs its reason")
        with self.vault.writing() as connection:
            found = next(self.ledger.read(connection, events.c.seq == seq), None)
            if found is None or not (found.kind.of_user or found.kind is Kind.CASE):
                raise NotFound(f"event {seq} is none that can be corrected")
            if payload is not None:
                check_payload(found.kind, payload)
            elif found.kind is Kind.CASE:
                raise BadEntry("the opening of a case can be corrected but not withdrawn; close the case instead")
            body = {"of": seq, "payload": payload, "reason": reason}
            self._weigh(connection, found.case, [(Kind.CORRECTION, body)])
            entry = Entry(Kind.CORRECTION, body, author, found.patient, found.case)
            number = self.ledger.append(connection, [entry])[0]
            self.refresh(connection, found.case)
        return number

    def events(self, case: str) -> list[Event]:
        """All events of a case as they were recorded, corrections among them. Raises NotFound."""
        with self.vault.reading() as connection:
            found = list(self.ledger.read(connection, events.c.case_id == case))
        if not found:
            raise NotFound(f"there is no case {case}")
        return found

    def now(self, case: str) -> list[Event]:
        """The events of a case as they stand now, corrections applied."""
        return effective(self.events(case))

    def view(self, case: str) -> CaseView:
        """One case at a glance. Raises NotFound, also after its data was erased."""
        with self.vault.reading() as connection:
            row = connection.execute(select(case_view).where(case_view.c.case_id == case)).mappings().one_or_none()
        if row is None:
            raise NotFound(f"there is no case {case}, or its data was erased")
        return CaseView(**row)

    def page(
        self,
        *,
        operator: str | None = None,
        patient: str | None = None,
        status: Status | None = None,
        tooth: int | None = None,
        order: Order = "last_seq",
        descending: bool = True,
        limit: int = 50,
        offset: int = 0,
    ) -> Page:
        """Cases, the one touched last first unless told otherwise; at most 500 at once."""
        column = case_view.c[order]
        given = {"operator": operator, "patient": patient, "status": status, "tooth": tooth}
        where = [case_view.c[name] == value for name, value in given.items() if value is not None]
        return self._page(where, [column.desc() if descending else column, case_view.c.case_id], limit, offset)

    def due(self, by: date, *, operator: str | None = None, limit: int = 50, offset: int = 0) -> Page:
        """Cases whose next recall is due on or before `by`, the longest due first."""
        where = [case_view.c.next_due != "", case_view.c.next_due <= by.isoformat()]
        if operator is not None:
            where.append(case_view.c.operator == operator)
        return self._page(where, [case_view.c.next_due, case_view.c.case_id], limit, offset)

    def overdue(self, today: date, *, operator: str | None = None, limit: int = 50, offset: int = 0) -> Page:
        """Cases whose recall date passed more than 30 days ago, the longest due first."""
        last = date.fromordinal((today - GRACE).toordinal() - 1)
        return self.due(last, operator=operator, limit=limit, offset=offset)

    def owner(self, connection: Connection, case: str) -> str:
        """The patient whose case it is. Raises NotFound."""
        found = connection.scalar(select(events.c.patient).where(events.c.case_id == case).limit(1))
        if found is None:
            raise NotFound(f"there is no case {case}: check its name")
        return str(found)

    def refresh(self, connection: Connection, case: str) -> None:
        """Derive the view of a case anew from its events."""
        connection.execute(delete(case_view).where(case_view.c.case_id == case))
        view = fold(list(self.ledger.read(connection, events.c.case_id == case, payload_of=FOLDED)))
        if view:
            connection.execute(insert(case_view).values(**asdict(view)))

    def rebuild(self, connection: Connection) -> int:
        """Derive the views of all cases anew; gives how many there are."""
        connection.execute(delete(case_view))
        query = select(events.c.case_id).where(events.c.case_id != "").distinct()
        cases: Collection[str] = connection.scalars(query).all()
        for case in cases:
            self.refresh(connection, case)
        return len(cases)

    def _weigh(self, connection: Connection, case: str, entries: Sequence[tuple[Kind, Mapping[str, object]]]) -> None:
        """Refuse what cannot have happened, seen with all else of the case. Raises BadEntry."""
        if not any(kind in NAMES or kind is Kind.CORRECTION for kind, _ in entries):
            return
        known = list(self.ledger.read(connection, events.c.case_id == case, payload_of=WEIGHED))
        if not known:
            raise NotFound(f"there is no case {case}: check its name")
        now = self.vault.clock()
        new = [as_if(kind, body, known[-1], ahead, now) for ahead, (kind, body) in enumerate(entries, 1)]
        born = born_of(self.vault, self.ledger, connection, known[0].patient)
        refuse_new(effective(known), effective([*known, *new]), now.date(), born)

    def _page(self, where: list[ColumnElement[bool]], order: list[ColumnElement[str]], limit: int, offset: int) -> Page:
        query = select(case_view).where(*where).order_by(*order).limit(max(0, min(limit, MOST_ROWS))).offset(offset)
        with self.vault.reading() as connection:
            total = connection.scalar(select(func.count()).select_from(case_view).where(*where)) or 0
            rows = connection.execute(query).mappings().all()
        return Page(tuple(CaseView(**row) for row in rows), total)
