"""Between the records and the plan page: a kept plan opens as it was, a plan of the page is kept as an event.

With a plan goes the case file it was made from (as a measurement, when it is not there yet) and the choices, so that it can be made again.
"""

import json

import anyio.from_thread
from starlette.responses import Response
from starlette.routing import Route

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.planning import Choices, PlanError
from canalwright.records.errors import BadEntry, Erased, IdentityLocked, NotFound
from canalwright.records.events import Event, Kind
from canalwright.report import plan_json
from canalwright.web.choosing import from_query, query_of, to_query
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.cases import open_case
from canalwright.web.records.house import House
from canalwright.web.records.screens import plans as screens

NEW = "new"


def routes(house: House) -> list[Route]:
    """Opening and keeping."""
    return [
        look(house, "/case/{case}/plan/{seq:int}", opened),
        look(house, "/keep/{key}/{index:int}", keep_screen),
        change(house, "/keep/{key}/{index:int}", keep),
    ]


def opened(ask: Ask) -> Response:
    """A kept plan on the plan page, with the case file and the choices of its time."""
    name, seq = ask.request.path_params["case"], ask.request.path_params["seq"]
    _, events = ask.desk.case(name)
    plan = next((e for e in events if e.seq == seq and e.kind is Kind.PLAN and e.payload), None)
    if plan is None:
        raise NotFound(f"case {name} has no plan {seq} any more")
    held = measured(events, plan.field("measured"))
    if held is None:
        raise NotFound(f"plan {seq} was kept without its case file: it can be read in the history, but not opened")
    try:
        case = casefile.loads(str(held.field("case_file")), f"measurement {held.seq}")
        index = [c.name for c in case.canals].index(str(plan.field("canal")))
    except (casefile.CaseError, ValueError) as error:
        raise NotFound(f"the case file of plan {seq} cannot be opened by this version: {error}") from None
    key = ask.house.shelf.put(case)
    ask.house.shelf.note(key, name)
    choices = str(plan.field("choices") or "")
    return ask.go(f"/case/{key}/{index}/plan" + (f"?{choices}" if choices else ""))


def keep_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """Ask which case a plan belongs to."""
    case, index, choices = _chosen(ask)
    tooth = case.tooth.code
    known = [v for v in ask.desk.cases(tooth=tooth, limit=100).rows if v.status != "closed"]
    came = ask.house.shelf.came_from(ask.request.path_params["key"])
    given = {k: ask.text(k) for k in ("patient", "index_before", "name", "born", "number", "contact")}
    action = f"{ask.request.url.path}?{to_query(choices)}"
    content = screens.keep(ask.prefs, ask.csrf, case, index, known, ask.text("case") or came, given, action, problem)
    return ask.page("Keep in the records", content, status=status)


def keep(ask: Ask) -> Response:
    """Make the whole plan, then record the case file (when it is new) and the plan."""
    case, index, choices = _chosen(ask)
    canal = case.canals[index]
    try:
        plan = anyio.from_thread.run(ask.house.office.bench.plan, case, index, choices)
        name = ask.text("case")
        if not name:
            raise BadEntry("say which case it is, or open a new one")
        if name == NEW:
            name = open_case(ask, case.tooth.code)
        view, events = ask.desk.case(name)
        if view.tooth != case.tooth.code:
            raise BadEntry(f"case {name} is of tooth {view.tooth}, this plan is for tooth {case.tooth.code}")
        last = measured(events, None)
        text = casefile.dumps(case)
        seq = last.seq if last is not None and last.field("case_file") == text else None
        if seq is None:
            seq = ask.desk.record(name, Kind.MEASUREMENT, {"case_file": text, "digest": case.digest})
        content = json.loads(json.dumps(plan_json(plan), allow_nan=False))
        payload = {"canal": canal.name, "plan": content, "choices": to_query(choices), "measured": seq}
        ask.desk.record(name, Kind.PLAN, payload)
    except (BadEntry, Erased, IdentityLocked, PlanError) as error:
        return keep_screen(ask, str(error), 422)
    ask.house.shelf.note(ask.request.path_params["key"], name)
    ask.house.office.refile(ask.request.path_params["key"])
    return ask.go(f"/records/case/{name}")


def _chosen(ask: Ask) -> tuple[Case, int, Choices]:
    """The open case, the canal and the choices that the address names. Raises NotFound."""
    key, index = ask.request.path_params["key"], ask.request.path_params["index"]
    case = ask.house.office.found(key, index)
    if case is None:
        raise NotFound("this case is not open any more; open its file again")
    query = query_of(ask.request)
    return case, index, from_query(query, ask.house.office.tray)


def measured(events: list[Event], seq: object) -> Event | None:
    """The measurement of a number, or the newest, that holds a case file."""
    held = [e for e in events if e.kind is Kind.MEASUREMENT and e.payload and e.field("case_file")]
    if seq is None:
        return held[-1] if held else None
    return next((e for e in held if e.seq == seq), None)
