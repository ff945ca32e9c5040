"""Where a number on the chair's screen is from: depth, of this act and the next, seconds, what the heat source is set to, what is cut, the
rise outside, and what a line rests on.

A number of the plan answers as it does on the page of the plan. What was noted, timed anew or forecast at the chair answers for itself, as
in the account of what was done.
"""

from canalwright.guide import Step, doubt
from canalwright.planning import Plan
from canalwright.protocol import Inject, Press
from canalwright.quantities import Quantity
from canalwright.report.words import figure, interval
from canalwright.web.chair import Chair
from canalwright.web.markup.debrief import NOTED, RISE
from canalwright.web.markup.html import Safe
from canalwright.web.markup.planview import all_items
from canalwright.web.markup.planview import answer as of_plan
from canalwright.web.markup.ready import CHOSEN
from canalwright.web.markup.where import FROM_5_TO_95, said, where_from
from canalwright.web.words import Words

OUTSIDE, DEPTH, CLOCK, CUT, LIMIT, WAIT = "outside", "depth", "clock", "cut", "limit", "wait"
REACHED, AHEAD, NEXT, SET = "reached", "ahead", "next", "set"
"""The numbers of the chair by name, as the screen asks for them."""


def answer(chair: Chair, what: str, words: Words) -> Safe | None:
    """The answer for the dialogue; `what` a name above or the key of a finding. None for a number that is not there now."""
    plan, step = chair.plan, chair.session.step
    if what == OUTSIDE:
        planned = chair.rise is plan.heat.surface_rise
        return of_plan(plan, "heat.surface_rise", words) if planned else _said(RISE, chair.rise, "debrief.rise", words)
    if step is None:
        return None
    if what == DEPTH:
        return _depth(chair, step, words)
    if what == NEXT:
        return _aimed(chair, chair.session.following, words)
    if what == SET:
        at = None if step.temperature is None else Quantity.exact(step.temperature, "°C", CHOSEN)
        return _said("carrier set to", at, "setting.0.temperature", words, digits=0)
    if what in (CLOCK, WAIT, REACHED, AHEAD):
        return _timed(chair, step, what, words)
    if what == LIMIT:
        found = doubt(plan, step, chair.session.depth) if chair.session.depth is not None else None
        return _said("greatest depth that can be", found.limit, f"chair.{found.kind}", words) if found else None
    return of_plan(plan, "cone.trim" if what == CUT else what, words)


def _depth(chair: Chair, step: Step, words: Words) -> Safe | None:
    if chair.session.depth is not None:
        noted = Quantity.exact(chair.session.depth, "mm", NOTED)
        return _said("depth as noted", noted, "debrief.depth", words)
    return _aimed(chair, step, words)


def _aimed(chair: Chair, step: Step | None, words: Words) -> Safe | None:
    """The depth of an act as it is planned, or laid anew."""
    if step is None or step.depth is None:
        return None
    item = None if step.anew else all_items(chair.plan).get(_key(chair.plan, step))
    if item is not None:
        return where_from(item, chair.plan, words)
    low, high = (step.depth if end is None else end for end in (step.low, step.high))
    key = "chair.laid" if step.anew else "debrief.aim"
    return _said("depth of this act", Quantity(step.depth, low, high, "mm"), key, words)


def _timed(chair: Chair, step: Step, what: str, words: Words) -> Safe | None:
    """Seconds, and what the heat model says of what was done; nothing while it is still being worked out."""
    if what == CLOCK:
        seconds = None if step.seconds is None else Quantity.exact(step.seconds, "s")
        return _said("seconds of this act", seconds, "debrief.planned seconds", words)
    made = chair.forecast if chair.rise is not None else None
    if made is None:
        return None
    if what == WAIT:
        wait = Quantity.exact(made.wait, "s") if made.wait else None
        return _said("wait before this heat", wait, "debrief.planned seconds", words)
    if what == REACHED:
        return _said("greatest rise so far", made.reached, "debrief.rise", words)
    return _said("greatest rise still to come", made.ahead, "debrief.rise", words)


def _key(plan: Plan, step: Step) -> str:
    """The number of the plan that the depth of this act is; empty where it stands in none of its tables."""
    before = plan.protocol.acts[: step.act + 1]
    match step.kind:
        case "place":
            return "cone.seat"
        case "heat":
            return f"round.{step.number}.carrier_stop"
        case "press" if not any(isinstance(act, Inject) for act in before):
            return f"round.{sum(isinstance(act, Press) for act in before)}.plugger_stop"
        case "inject":
            return f"portion.{step.number}.needle_stop"
    return ""


def _said(name: str, q: Quantity | None, key: str, words: Words, digits: int = 1) -> Safe | None:
    if q is None:
        return None
    between = interval(q).replace(" to ", words(" to ")) if q.high > q.low else ""
    return said(name, q, figure(q.value, digits), between, q.unit, words, key=key, kind=FROM_5_TO_95 if between else "")
