"""The acts of a protocol as they were really done, and as they are laid for the rest: what the models are run with."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from canalwright.guide.session import Session
from canalwright.guide.steps import Step
from canalwright.instruments import Plugger
from canalwright.planning import Plan, practice
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Press, Sear

LONGEST = 300.0
"""Longest time of one act or wait that the heat model follows, s."""
SAME = 0.02
"""Stations that differ by less are the same, mm: depths are written down to a hundredth."""


@dataclass(frozen=True)
class Row:
    """A step with its depth (mm) and seconds, as done or as to come, and the wait before it, s."""

    step: Step
    depth: float | None
    seconds: float | None
    waited: float = 0.0


def done_rows(session: Session) -> list[Row]:
    """What was done."""
    return [
        Row(session.steps[e.step], e.depth, min(max(e.seconds, 0.05), LONGEST), min(e.waited, LONGEST))
        for e in session.done
    ]


def carried_out(plan: Plan, session: Session) -> list[Act]:
    """The acts as they were really done, with the waits between them."""
    return acts_of(plan, done_rows(session))


def acts_of(plan: Plan, rows: Sequence[Row]) -> list[Act]:
    """The acts of these steps, each as the plan has it but for its depth, time and tool, a pause for each wait but one before the first."""
    acts: list[Act] = []
    top: float | None = None
    for at, row in enumerate(rows):
        if row.waited > 0.05 and acts:
            acts.append(Pause(row.waited))
        act = _at_depth(plan, row, top)
        if isinstance(act, Inject) and row.step.anew:
            over = next((r.depth for r in rows[at + 1 :] if r.step.kind == "press"), None)
            floor = act.bottom if top is None else top
            act = replace(
                act, bottom=floor, top=act.top if over is None else max(plan.canal.length.value - over, floor + SAME)
            )
        if row.seconds is not None:
            act = _lasting(act, row.seconds, top)
        acts.append(act)
        top = _top(act, top)
    return acts


def _at_depth(plan: Plan, row: Row, top: float | None) -> Act:
    act = plan.protocol.acts[row.step.act]
    if row.depth is None:
        return act
    z = max(plan.canal.length.value - row.depth, 0.0)
    match act:
        case Sear(level=planned) | Bite(level=planned):
            return act if abs(z - planned) < SAME else replace(act, level=z)
        case Heat():
            return act if abs(z - act.stop) < SAME else replace(act, stop=z)
        case Press():
            tool = act.plugger if act.plugger.name == row.step.tool else _plugger(plan, row.step.tool, act)
            return act if abs(z - act.stop) < SAME and tool is act.plugger else replace(act, stop=z, plugger=tool)
    return act


def _plugger(plan: Plan, name: str, act: Press) -> Plugger:
    return next((p.plugger for p in plan.pluggers if p.plugger.name == name), act.plugger)


def _lasting(act: Act, seconds: float, top: float | None) -> Act:
    """The act for so long; a plunge takes as long as its way needs."""
    if not isinstance(act, Heat):
        return replace(act, seconds=seconds)
    plunge = act.plunge if top is None else max(top - act.stop, 0.0) / practice.PLUNGE_SPEED
    return replace(act, seconds=seconds, plunge=min(plunge, seconds))


def _top(act: Act, before: float | None) -> float | None:
    """Where the filling ends after an act; None before it is seared off."""
    match act:
        case Sear(level=z):
            return z
        case Bite(level=z) | Press(stop=z):
            return z if before is None else min(before, z)
        case Inject(top=z):
            return z
    return before
