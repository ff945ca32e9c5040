"""What was done at the chair, kept with its case."""

from collections.abc import Sequence
from datetime import datetime

import anyio.from_thread
from starlette.responses import Response
from starlette.routing import Route

from canalwright import casefile
from canalwright.guide import debrief
from canalwright.planning import PlanError
from canalwright.records.errors import BadEntry, NotFound
from canalwright.records.events import Event, Kind
from canalwright.web.chair import Chair
from canalwright.web.chairbook import ChairbookError
from canalwright.web.records.asking import Ask, change
from canalwright.web.records.house import House
from canalwright.web.records.screens.onecase import Begun

LOOKED_AT = 30


def routes(house: House) -> list[Route]:
    """Keeping a session."""
    return [change(house, "/case/{case}/chair", keep)]


def sessions_of(ask: Ask, tooth: int, events: Sequence[Event]) -> list[Begun]:
    """The reader's last sessions at the chair (practice left out) of a tooth that are not kept with this case yet."""
    book = ask.house.office.chairs.book
    kept = {e.field("session") for e in events if e.kind is Kind.CHAIR}
    found = []
    for ident in book.listed()[:LOOKED_AT]:
        try:
            head, done = book.read(ident)
            case = casefile.loads(head.case, "session")
        except (ChairbookError, casefile.CaseError):
            continue
        if done and not head.practice and case.tooth.code == tooth and ident not in kept:
            found.append(Begun(ident, case.canals[head.canal].name, datetime.fromtimestamp(head.began)))
    return found


def keep(ask: Ask) -> Response:
    """Record what was done, step by step, beside what was planned."""
    name, ident = ask.request.path_params["case"], ask.text("session")
    try:
        view, _ = ask.desk.case(name)
        ask.house.office.chairs.book.read(ident)  # the reader's own, or refused
        chair = anyio.from_thread.run(ask.house.office.chairs.get, ident)
    except (ChairbookError, casefile.CaseError, PlanError) as error:
        raise NotFound(str(error)) from None
    if chair.case.tooth.code != view.tooth or chair.head.practice:
        raise BadEntry(f"this session is not of tooth {view.tooth}, or was practice")
    ask.desk.record(name, Kind.CHAIR, payload_of(chair, finished=ask.text("finished") == "yes"))
    return ask.go(f"/records/case/{name}")


def payload_of(chair: Chair, *, finished: bool) -> dict[str, object]:
    """The chair log of one canal: seconds in all, the share of holds kept, every step done beside what was planned.

    A hold counts as kept when it lasted as planned, less a quarter or a second, as in the debriefing.
    """
    lines = debrief(chair.session)
    holds = [x for x in lines if x.kind == "press" and x.planned and x.seconds is not None]
    kept = sum((x.seconds or 0.0) >= (x.planned or 0.0) - max(1.0, 0.25 * (x.planned or 0.0)) for x in holds)
    end = max((moment for _, moment in chair.told), default=chair.head.began)
    payload: dict[str, object] = {
        "on": datetime.fromtimestamp(chair.head.began).date().isoformat(),
        "session": chair.ident,
        "canal": chair.plan.canal.name,
        "finished": finished,
        "seconds": round(end - chair.head.began, 1),
        "off": sum(x.off for x in lines),
        "steps": [
            {"kind": x.kind, "planned_s": x.planned, "done_s": x.seconds, "planned_mm": x.aim, "done_mm": x.depth,
             "notes": list(x.notes)}
            for x in lines
        ],
    }  # fmt: skip
    return payload | ({"holds_kept": round(kept / len(holds), 3)} if holds else {})
