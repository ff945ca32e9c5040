"""Protects: after any sequence of acts the lists say what the events say, the chain holds, and nothing recorded is lost."""

from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from canalwright.records import Event, Identity, Kind, Store
from canalwright.records.caseview import fold
from canalwright.records.errors import BadEntry
from tests.records.conftest import CHEAP, SECRET, Clock

text = st.text(max_size=30)
scalars = st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | text
payloads = st.dictionaries(text.filter(bool), scalars, min_size=1, max_size=4)
dates = st.dates(date(2015, 1, 1), date(2030, 1, 1)).map(date.isoformat)


class Records(RuleBasedStateMachine):
    """Acts on records in a file; `model` remembers what every event must say."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.clock = Clock()
        self.store = Store.create(Path(self.folder.name) / "r", SECRET, cost=CHEAP, clock=self.clock)
        self.model: dict[int, dict[str, object] | None] = {}
        self.cases: dict[str, str] = {}

    def teardown(self) -> None:
        self.store.close()
        self.folder.cleanup()

    @rule(tooth=st.sampled_from([11, 26, 46]))
    def open_case(self, tooth: int) -> None:
        patient = self.store.patients.add("ann", Identity("Ada"))
        case = self.store.cases.open(patient, {"tooth": tooth}, "ann")
        self.cases[case] = patient

    @precondition(lambda self: self.cases)
    @rule(data=st.data(), kind=st.sampled_from([Kind.NOTE, Kind.PLAN, Kind.MEASUREMENT]), payload=payloads)
    def record(self, data: st.DataObject, kind: Kind, payload: dict[str, object]) -> None:
        case = data.draw(st.sampled_from(sorted(self.cases)))
        self.model[self.store.cases.record(case, kind, payload, "ann")] = payload

    @precondition(lambda self: self.cases)
    @rule(data=st.data(), on=dates, finished=st.booleans())
    def fill(self, data: st.DataObject, on: str, finished: bool) -> None:
        case = data.draw(st.sampled_from(sorted(self.cases)))
        with suppress(BadEntry):  # what cannot be is refused, and leaves nothing behind
            self.store.cases.record(case, Kind.CHAIR, {"on": on, "finished": finished}, "ann")

    @precondition(lambda self: self.cases)
    @rule(data=st.data(), on=dates, grade=st.integers(1, 5))
    def recall(self, data: st.DataObject, on: str, grade: int) -> None:
        case = data.draw(st.sampled_from(sorted(self.cases)))
        with suppress(BadEntry):
            self.store.cases.record(case, Kind.RECALL, {"on": on, "index": {"m": {"ann": grade}}}, "ann")

    @precondition(lambda self: self.model)
    @rule(data=st.data(), payload=payloads | st.none())
    def correct(self, data: st.DataObject, payload: dict[str, object] | None) -> None:
        seq = data.draw(st.sampled_from(sorted(self.model)))
        if self.model[seq] is not None:
            self.store.cases.correct(seq, payload, "slip", "bob")

    @precondition(lambda self: self.cases)
    @rule(data=st.data())
    def erase(self, data: st.DataObject) -> None:
        case = data.draw(st.sampled_from(sorted(self.cases)))
        for event in self.store.cases.events(case):
            if event.seq in self.model:
                self.model[event.seq] = None
        self.store.patients.erase(self.cases.pop(case), "asked", "ann")

    @rule(hours=st.integers(-48, 48))
    def pass_time(self, hours: int) -> None:
        self.clock.now += timedelta(hours=hours)

    @rule()
    def reopen(self) -> None:
        home = self.store.vault.home
        self.store.close()
        self.store = Store.open(home, SECRET, clock=self.clock)

    @invariant()
    def nothing_is_lost(self) -> None:
        head = self.store.verify()
        with self.store.vault.reading() as connection:
            events = list(self.store.ledger.read(connection))
        assert [e.seq for e in events] == list(range(1, head.seq + 1))
        found = {e.seq: e.payload for e in events}
        assert all(found[seq] == payload for seq, payload in self.model.items())
        self._lists_agree(events)

    def _lists_agree(self, events: list[Event]) -> None:
        views = {v.case_id: v for v in self.store.cases.page(limit=500).rows}
        assert set(views) == set(self.cases)
        for case, view in views.items():
            assert fold([e for e in events if e.case == case]) == view
        due = [v.case_id for v in self.store.cases.due(date(2100, 1, 1)).rows]
        assert sorted(due) == sorted(v.case_id for v in views.values() if v.next_due)


TestRecords = Records.TestCase
TestRecords.settings = settings(
    max_examples=12, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck)
)
