"""What of a person is kept beside the records, by open cases, radiographs and the chair, and goes with them when they are erased."""

import contextlib
from collections.abc import Iterable

from canalwright import casefile
from canalwright.records import Store
from canalwright.records.events import Event, Kind
from canalwright.web.gone import Traces
from canalwright.web.held import KEY
from canalwright.web.office import Office
from canalwright.web.records.house import House


def traces(events: Iterable[Event]) -> Traces:
    """What the events of a person say of what may be open: to be read before they are erased."""
    records, keys, cases, sessions = set[str](), set[str](), [], set[str]()
    for event in events:
        records |= {event.case} if event.case else set()
        if event.kind is Kind.CHAIR:
            sessions.add(str(event.field("session")))
        if event.kind is Kind.MEASUREMENT and event.field("case_file"):
            keys.add(str(event.field("digest"))[:KEY])
            with contextlib.suppress(casefile.CaseError):  # of another version; known by its key
                cases.append(casefile.loads(str(event.field("case_file")), "measurement"))
    return Traces(frozenset(records), frozenset(keys), tuple(cases), frozenset(sessions))


def erased_before(house: House) -> None:
    """Take away what is left of whoever was erased while no page was open, or came back with a backup."""
    if names := house.store.patients.erased_cases():
        house.office.erase(Traces(frozenset(names)))


def forget(store: Store, persons: Iterable[Traces]) -> None:
    """Take away what is kept of persons beside the records, where no page is open. Raises StoreReadOnly."""
    house = House.of(store, Office.of(casefile.generic_tray()))
    for one in persons:
        house.office.erase(one)
    house.office.bench.close()
