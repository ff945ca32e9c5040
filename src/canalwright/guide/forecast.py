"""What was done so far, and what the rest will do to the root surface: re-planned from it at once.

The heat model runs once with what was really done (times, waits, depths) followed by the steps to come, nominal
values, coarse grid; the spread is taken over from the plan in proportion, as `planning.preview` does. Where the
forecast passes what the planner allows itself (70 % of the 10 K limit, nominal), longer pauses and then shorter
activations of the steps to come are tried, mildest first.

Left out: bleeding, a cone that moved (they are noted, not modelled), and the time between a noted depth and its
correction. A wait or an act that was left running for longer than `LONGEST` (the screen stood over night, say) is taken as that
long: the root is at body temperature, or in balance with the carrier, well before.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from canalwright import heat
from canalwright.guide.session import Done, Phase, Session
from canalwright.planning import Plan
from canalwright.protocol import Act, Bite, Heat, Inject, Pause, Place, Press, Protocol, Sear
from canalwright.quantities import Quantity

QUICK = heat.Resolution.quick()
ALLOWED, TOLERATED = 7.0, 0.5
"""Nominal rise that needs no change, K; and how far the forecast may pass the plan's own before the rest is changed."""
PAUSES = (0.0, 10.0, 20.0, 40.0)
SHARES = (1.0, 0.75, 0.5)
SHORTEST = 0.5
LONGEST = 300.0
"""Longest time of one act or wait that the heat model follows, s."""


@dataclass(frozen=True)
class Forecast:
    """`rise`: greatest rise at the root surface over the whole filling, K, with what is to come as it is now timed; `seconds`: new times by
    step that would spare the root, empty when the steps can stay; `then` the rise with them.
    """

    rise: Quantity
    seconds: dict[int, float]
    then: Quantity

    @property
    def changes(self) -> bool:
        """Whether the rest has to change."""
        return bool(self.seconds)


def carried_out(plan: Plan, done: tuple[Done, ...]) -> list[Act]:
    """The acts as they were really done, with the waits between them."""
    acts: list[Act] = []
    for entry in done:
        act = plan.protocol.acts[entry.step]
        if entry.waited > 0.05:
            acts.append(Pause(min(entry.waited, LONGEST)))
        acts.append(_as_done(plan, act, entry))
    if acts and isinstance(acts[0], Pause):
        acts.pop(0)
    return acts


def forecast(plan: Plan, session: Session) -> Forecast:
    """The rest re-planned from what was done. Raises nothing: with nothing left to heat the times stay."""
    past = carried_out(plan, session.done)
    first = session.index
    planned = _rise(plan, list(plan.protocol.acts))
    share = plan.heat.surface_rise.value / max(planned, 1e-6)
    now = share * _rise(plan, past + _future(plan, session, first, 0.0, 1.0))
    told = _spread(plan, now)
    later = first + (session.phase is not Phase.READY)
    allowed = max(ALLOWED, plan.heat.surface_rise.value) + TOLERATED
    if now <= allowed or not any(s.kind == "heat" for s in session.steps[later:]):
        return Forecast(told, {}, told)
    best, seconds = now, dict[int, float]()
    for pause, part in _trials():
        then = share * _rise(plan, past + _future(plan, session, first, pause, part))
        if then < best - 0.05:
            best, seconds = then, _times(session, later, pause, part)
        if then <= allowed:
            break
    return Forecast(told, seconds, _spread(plan, best))


def _trials() -> Iterator[tuple[float, float]]:
    """Pauses first, then shorter activations, mildest first; the unchanged one left out."""
    for part in SHARES:
        for pause in PAUSES:
            if pause > 0 or part < 1:
                yield pause, part


def _times(session: Session, first: int, pause: float, part: float) -> dict[int, float]:
    found = {}
    for i, step in enumerate(session.steps[first:], first):
        if step.seconds is None:
            continue
        if step.kind == "heat" and part < 1:
            found[i] = max(round(step.seconds * part, 1), SHORTEST)
        elif step.kind == "pause" and pause > 0 and any(s.kind == "heat" for s in session.steps[i + 1 :]):
            found[i] = step.seconds + pause
    return found


def _future(plan: Plan, session: Session, first: int, pause: float, part: float) -> list[Act]:
    later = first + (session.phase is not Phase.READY)
    times = _times(session, later, pause, part)
    acts: list[Act] = []
    for i, step in enumerate(session.steps[first:], first):
        act = plan.protocol.acts[step.act]
        seconds = times.get(i, step.seconds)
        acts.append(_lasting(act, seconds) if seconds is not None else act)
    return acts


def _lasting(act: Act, seconds: float) -> Act:
    if isinstance(act, Heat):
        return replace(act, seconds=seconds, plunge=min(act.plunge, 0.8 * seconds))
    return replace(act, seconds=seconds)


def _as_done(plan: Plan, act: Act, entry: Done) -> Act:
    z = plan.canal.length.value - entry.depth if entry.depth is not None else None
    seconds = min(max(entry.seconds, 0.05), LONGEST)
    match act:
        case Heat() | Press():
            moved = replace(act, stop=max(z, 0.0)) if z is not None else act
            return _lasting(moved, seconds)
        case Place() | Sear() | Bite() | Inject() | Pause():
            return replace(act, seconds=seconds)


def _rise(plan: Plan, acts: list[Act]) -> float:
    return heat.simulate(plan.lumen, Protocol(tuple(acts)), resolution=QUICK, every=1e9).surface_rise


def _spread(plan: Plan, rise: float) -> Quantity:
    q = plan.heat.surface_rise
    part = rise / max(q.value, 1e-6)
    return Quantity(rise, min(q.low * part, rise), max(q.high * part, rise), "K", q.source, q.supposed, q.leading)
