"""One session at the chair on the server: the book is the truth, this is what is open of it."""

import asyncio
import json
import time
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import asdict, dataclass, field, replace
from typing import Any
from urllib.parse import parse_qs

from canalwright import casefile, heat
from canalwright.casefile import Case
from canalwright.guide import (
    DEPTH,
    GO,
    RETIME,
    Event,
    Forecast,
    Phase,
    Session,
    Step,
    apply,
    carried,
    carried_out,
    debrief,
    fold,
    forecast,
    steps_of,
)
from canalwright.instruments import iso3630
from canalwright.planning import Plan
from canalwright.protocol import Protocol
from canalwright.quantities import Quantity
from canalwright.report import ISO_3630, Moment, Options, section_svg
from canalwright.report.words import figure
from canalwright.web.bench import Bench
from canalwright.web.chairbook import Chairbook, ChairbookError, Head, NotWritten
from canalwright.web.choosing import from_query
from canalwright.web.markup.debrief import ended
from canalwright.web.markup.picture import FONT, PAGE
from canalwright.web.prefs import Prefs
from canalwright.web.words import Words

PICTURE = Options(scale=9.0, font=FONT, font_size=3.6, text_factor=1.16, palette=PAGE, prefix="tooth")
MOST = 32
"""Sessions held in memory; the book holds all of them."""
SLACK = 2.0
"""Seconds by which a browser's clock may run ahead of the server's."""
DOES = {
    "place": "Place the cone, coated with sealer",
    "sear": "Sear the cone off",
    "heat": "Heat, plunging to the stop",
    "bite": "Take the carrier out with its bite",
    "press": "Press and hold",
    "inject": "Inject the backfill from the stop",
    "pause": "Let it cool, change instruments",
}
SHORT = {
    "place": "Place",
    "sear": "Sear",
    "heat": "Heat",
    "bite": "Bite",
    "press": "Press",
    "inject": "Backfill",
    "pause": "Cool",
}
"""An act in one word, for what comes next."""


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
    retimed: bool = False
    told: set[tuple[str, float]] = field(default_factory=set, repr=False)
    looked: int = -1
    """Events that the forecast knows of."""
    kept: str = ""
    """Key of the edited case beside which the plan of this session was kept."""
    lock: asyncio.Lock = field(default_factory=asyncio.Lock, repr=False)

    def take(self, book: Chairbook, event: Event) -> None:
        """Write an event down and move on."""
        book.append(self.ident, event)
        self.session = apply(self.session, event)
        self.count += 1
        self.retimed = self.retimed or event.kind == RETIME


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
            retimed, told = any(e.kind == RETIME for e in events), {(e.kind, e.moment) for e in events}
            made = Chair(ident, head, case, plan, session, len(events), retimed=retimed, told=told)
            if self._open.setdefault(key, made) is made and session.phase is Phase.DONE:
                self._begin(made)
        self._open.move_to_end(key)
        found = self._open[key]
        idle = [k for k, chair in self._open.items() if not chair.lock.locked() and chair is not found]
        for old in idle[: max(len(self._open) - MOST, 0)]:
            del self._open[old]
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
        if event.kind in (GO, DEPTH):
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
                for event in carried(steps_of(chair.plan), head.began, events):
                    self.book.append(made, event)
            except NotWritten:
                self.book.drop(made)
                raise
            if not self.book.there(ident):  # it was erased meanwhile
                self.book.drop(made)
        after = await self.get(made)
        if after.session.done:
            await self._look_ahead(after)
        return made

    def _begin(self, chair: Chair) -> None:
        """Look ahead behind the page; the task is held until it is done, for the loop itself holds none."""
        task = asyncio.get_running_loop().create_task(self._look_ahead(chair))
        self._ahead.add(task)
        task.add_done_callback(self._ahead.discard)

    async def _look_ahead(self, chair: Chair) -> None:
        """Forecast the rest; where it has to change, change it and write that down too."""
        asked = chair.count
        made = await self.bench.aside(forecast, chair.plan, chair.session)
        async with chair.lock:
            if asked != chair.count:
                return
            chair.forecast, chair.looked = made, asked
            if made.changes:
                try:
                    chair.take(self.book, Event(RETIME, time.time(), seconds=made.seconds))
                except ChairbookError:
                    return  # the next event says so, and looks ahead again
                chair.forecast, chair.looked = Forecast(made.then, {}, made.then), chair.count

    async def picture(self, chair: Chair) -> str:
        """The simulated tooth as it is after what was done; '' before the cone is placed."""
        acts = carried_out(chair.plan, chair.session.done)
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


def state(chair: Chair, prefs: Prefs) -> dict[str, Any]:
    """All that the chair's screen shows, in plain JSON types."""
    words, session = prefs.words, chair.session
    step = session.step
    following = session.steps[session.index + 1] if session.index + 1 < len(session.steps) else None
    told = chair.forecast.rise if chair.forecast else chair.plan.heat.surface_rise
    return {
        "n": chair.count,
        "tooth": prefs.tooth(chair.case.tooth),
        "canal": words(chair.plan.canal.name),
        "reference": words(chair.plan.canal.reference),
        "practice": chair.head.practice,
        "index": session.index,
        "total": len(session.steps),
        "phase": session.phase.value,
        "entered": session.entered,
        "since": session.since,
        "before": session.before,
        "notes": list(session.notes),
        "noted_depth": session.depth,
        "step": _step(step, words) if step else None,
        "next": _next(following, words) if following else "",
        "rise": _rise(told) | {"limit": 10},
        "retimed": chair.retimed,
        "end": _end(chair, words) if session.phase is Phase.DONE else "",
        "case": f"/case/{chair.case.digest[:16]}/{chair.head.canal}/plan"
        + (f"?{chair.head.query}" if chair.head.query else ""),
    }


def _rise(told: Quantity) -> dict[str, float]:
    return {"value": round(told.value, 1), "low": round(told.low, 1), "high": round(told.high, 1)}


def _step(step: Step, words: Words) -> dict[str, Any]:
    """A step as the screen shows it, its lengths rounded here, so that they end in the same digit as on the page and the card."""
    told = asdict(step) | {k: _tenths(getattr(step, k)) for k in ("depth", "low", "high")}
    colour = iso3630.colour(step.size) if step.size in iso3630.SIZES and step.size is not None else None
    return told | {
        "words": words(DOES[step.kind]),
        "tool": words(step.tool),
        "cut": _cut(step, words),
        "cut_between": "({}–{})".format(*map(figure, step.cut[1:])) if step.cut else "",
        "colour": ISO_3630[colour] if colour else None,
        "colour_name": words(colour or ""),
    }


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _cut(step: Step, words: Words) -> str:
    """What is cut off the cone before it is placed."""
    if step.cut is None:
        return ""
    return words("cut {mm} mm off its tip", mm=figure(step.cut[0]))


def _next(step: Step, words: Words) -> str:
    """The next act in a line that is read from two metres."""
    depth = f"{step.depth:.1f} mm" if step.depth is not None else ""
    return " · ".join(filter(None, (words(SHORT[step.kind]), words(step.tool), depth)))


def _said(step: Step, words: Words) -> str:
    depth = f" {step.depth:.1f} mm" if step.depth is not None else ""
    return f"{words(DOES[step.kind])}: {words(step.tool)}{depth}" if step.tool else words(DOES[step.kind])


def _end(chair: Chair, words: Words) -> str:
    """What was done beside the plan, as the screen shows it when all is done."""
    session, made = chair.session, chair.forecast
    rows = [(_said(session.steps[line.step], words), session.steps[line.step], line) for line in debrief(session)]
    done = made.rise if made is not None and chair.looked == chair.count else None
    return ended(rows, chair.plan.heat.surface_rise, done, words)


def as_json(content: dict[str, Any]) -> str:
    """Compact JSON without numbers that JSON does not know."""
    return json.dumps(content, allow_nan=False, separators=(",", ":"))
