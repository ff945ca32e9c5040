"""One session at the chair on the server: the book is the truth, this is what is open of it."""

import asyncio
import time
from collections import OrderedDict
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, field, replace
from urllib.parse import parse_qs

from canalwright import casefile, heat
from canalwright.casefile import Case
from canalwright.guide import (
    RETIME,
    STOPS,
    Event,
    Forecast,
    Session,
    apply,
    begin,
    carried,
    carried_out,
    fold,
    forecast,
    laid,
    steps_of,
    taken,
)
from canalwright.planning import Plan
from canalwright.protocol import Protocol
from canalwright.quantities import Quantity
from canalwright.report import Moment, Options, section_svg
from canalwright.web.bench import Bench
from canalwright.web.chairbook import Chairbook, ChairbookError, Head, NotWritten
from canalwright.web.choosing import from_query
from canalwright.web.markup.picture import FONT, PAGE

PICTURE = Options(scale=9.0, font=FONT, font_size=3.6, text_factor=1.16, palette=PAGE, prefix="tooth")
MOST = 32
"""Sessions held in memory; the book holds all of them."""
SLACK = 2.0
"""Seconds by which a browser's clock may run ahead of the server's."""


@dataclass
class Chair:
    """An open session: its head, case, plan, state, and the forecast of the rest."""

    ident: str
    head: Head
    case: Case
    plan: Plan
    session: Session
    count: int = 0
    forecast: Forecast | None = None
    unknown: bool = False
    """Whether the heat model could not follow what was done."""
    told: set[tuple[str, float]] = field(default_factory=set, repr=False)
    looked: int = -1
    """Events that the forecast knows of."""
    kept: str = ""
    """Key of the edited case beside which the plan of this session was kept."""
    lock: asyncio.Lock = field(default_factory=asyncio.Lock, repr=False)
    opening: asyncio.Lock = field(default_factory=asyncio.Lock, repr=False)

    @property
    def rise(self) -> Quantity | None:
        """Greatest rise at the root surface over the whole filling, K; None while what was done last is not reckoned with."""
        if self.looked == self.count and self.forecast is not None:
            return self.forecast.rise
        return None if self.session.done else self.plan.heat.surface_rise

    def take(self, book: Chairbook, event: Event) -> None:
        """Write an event down, with the stops that the rest has after it, and move on."""
        events = taken(self.plan, self.session, event)
        book.append(self.ident, *events)
        for each in events:
            self.session = apply(self.session, each)
        self.count += len(events)

    def mend(self, book: Chairbook) -> None:
        """Lay the rest anew where a crash cut that off from the depth that asks for it."""
        if (rest := laid(self.plan, self.session)) is not None:
            event = Event(STOPS, time.time(), rest=rest)
            book.append(self.ident, event)
            self.session, self.count = apply(self.session, event), self.count + 1


class Chairs:
    """Sessions that are open on this server; the one not looked at longest is read from the book again when it is asked for."""

    def __init__(self, bench: Bench, book: Chairbook | None = None) -> None:
        self.bench, self.book = bench, book or Chairbook()
        self._open: OrderedDict[tuple[str, str], Chair] = OrderedDict()
        self._ahead: set[asyncio.Task[None]] = set()

    def begin(self, case: Case, canal: int, query: str, *, practice: bool, record: str = "") -> str:
        """A new session, of a case of the records where that is known; returns its name. Raises NotWritten."""
        return self.book.new(Head(casefile.dumps(case), canal, query, time.time(), practice, record))

    def erase(self, cases: Collection[str], records: Collection[str], sessions: Collection[str]) -> set[str]:
        """Take every reader's sessions of these cases, or of these names, away; gives their names."""
        gone = self.book.erase(cases, records, sessions)
        for key in [k for k in tuple(self._open) if k[1] in gone]:
            self._open.pop(key, None)
        return gone

    async def get(self, ident: str) -> Chair:
        """An open session, or one read from the book again; raises ChairbookError, CaseError or PlanError."""
        key = (str(self.book.folder), ident)
        if key in self._open and not self.book.there(ident):
            del self._open[key]
        if key not in self._open:
            head, events = self.book.read(ident)
            case = casefile.loads(head.case, "session")
            plan = await self.bench.plan(case, head.canal, from_query(parse_qs(head.query), self.bench.tray))
            session = fold(steps_of(plan), head.began, events)
            told = {(e.kind, e.moment) for e in events}
            made = self._open.setdefault(key, Chair(ident, head, case, plan, session, len(events), told=told))
            with suppress(NotWritten):
                made.mend(self.book)
        self._open.move_to_end(key)
        found = self._open[key]
        idle = [k for k, chair in self._open.items() if not chair.lock.locked() and chair is not found]
        for old in idle[: max(len(self._open) - MOST, 0)]:
            del self._open[old]
        async with found.opening:  # what was written down is reckoned with before any number shows
            if found.looked < 0 and found.session.done:
                await self._look_ahead(found)
        return found

    async def tell(self, ident: str, event: Event) -> Chair:
        """Take an event in; one that is told again (the answer was lost, say) is not taken twice.

        Raises NotWritten where it could not be written down: it has not been taken then; and as `get` does.
        """
        chair = await self.get(ident)
        async with chair.lock:
            if (event.kind, event.moment) not in chair.told:
                chair.take(self.book, replace(event, moment=min(event.moment, time.time() + SLACK)))
                chair.told.add((event.kind, event.moment))
        if chair.session.done or chair.forecast is not None:
            self._begin(chair)
        return chair

    async def replan(self, ident: str, case: Case) -> str:
        """Go on in a session of the edited `case` from the step reached, what was done carried over; returns its name.

        Raises ChairbookError where the new plan has other steps up to here or lacks the canal, and as `get` does.
        """
        chair = await self.get(ident)
        canal = canal_in(chair, case)
        if canal is None:
            raise ChairbookError("the edited case has no such canal; keep this plan, or begin anew")
        plan = await self.bench.plan(case, canal, from_query(parse_qs(chair.head.query), self.bench.tray))
        kinds = [step.kind for step in steps_of(plan)]
        async with chair.lock:
            session = chair.session
            before = [step.kind for step in session.steps[: session.index + 1]]
            if kinds[: len(before)] != before:
                raise ChairbookError("the new plan has other steps up to here; keep this plan, or begin anew")
            head, events = self.book.read(ident)
            made = self.book.new(replace(head, case=casefile.dumps(case), canal=canal))
            try:
                session = begin(steps_of(plan), head.began)
                for event in carried(steps_of(chair.plan), head.began, events):
                    for each in taken(plan, session, event):
                        self.book.append(made, each)
                        session = apply(session, each)
            except NotWritten:
                self.book.drop(made)
                raise
            if not self.book.there(ident):  # it was erased meanwhile
                self.book.drop(made)
        await self.get(made)
        return made

    def _begin(self, chair: Chair) -> None:
        """Look ahead behind the page; the task is held until it is done, for the loop itself holds none."""
        task = asyncio.get_running_loop().create_task(self._look_ahead(chair))
        self._ahead.add(task)
        task.add_done_callback(self._ahead.discard)

    async def _look_ahead(self, chair: Chair) -> None:
        """Forecast the rest; where it has to change, change it and write that down too."""
        asked = chair.count
        try:
            made = await self.bench.aside(forecast, chair.plan, chair.session)
        except ValueError:
            chair.unknown, chair.looked = True, max(chair.looked, 0)
            return
        async with chair.lock:
            if asked != chair.count:
                return
            chair.forecast, chair.looked, chair.unknown = made, asked, False
            if made.changes:
                try:
                    chair.take(self.book, Event(RETIME, time.time(), seconds=made.seconds))
                except ChairbookError:
                    return  # the next event says so, and looks ahead again
                chair.forecast, chair.looked = replace(made, seconds={}, rise=made.then), chair.count

    async def picture(self, chair: Chair) -> str:
        """The simulated tooth as it is after what was done; '' before the cone is placed."""
        acts = carried_out(chair.plan, chair.session)
        if not acts:
            return ""

        def draw() -> str:
            story = heat.simulate(chair.plan.lumen, Protocol(tuple(acts)), every=0.25)
            return section_svg(chair.plan, moment=Moment.of(chair.plan, story, float(story.time[-1])), options=PICTURE)

        return await self.bench.aside(draw)


def canal_in(chair: Chair, case: Case) -> int | None:
    """Where the session's canal is in another state of its case."""
    names = [canal.name for canal in case.canals]
    return names.index(chair.plan.canal.name) if chair.plan.canal.name in names else None


def older(chair: Chair, case: Case) -> bool:
    """Whether the plan of a session that goes on rests on values that an edited `case` has no longer."""
    index = canal_in(chair, case)
    same = index is not None and case.tooth == chair.case.tooth
    same = same and case.model.canal[index or 0] == chair.case.model.canal[chair.head.canal]
    return chair.session.step is not None and not same
