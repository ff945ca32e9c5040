"""What was done so far, and what the rest will do to the root surface: re-planned from it at once.

The heat model runs with what was really done (times, waits, depths) followed by the steps to come, nominal
values, coarse grid; the spread is taken over from the plan in proportion, as `planning.preview` does. What is past cannot be
changed, so the rest is judged by the greatest rise from the next activation on. Where that passes what the planner
allows itself (70 % of the 10 K limit, nominal), a longer pause before it, then longer pauses all along, then shorter
activations are tried, mildest first, always from the times of the plan: what went well since brings them back.

What follows has the stops that it was laid to by then (`guide.laying`).

Left out: bleeding, a cone that moved (they are noted, not modelled), and the time between a noted depth and its correction. A wait or an
act that was left running for longer than `acts.LONGEST` (the screen stood over night, say) is taken as that long: the root is at body
temperature, or in balance with the carrier, well before.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from canalwright import heat
from canalwright.guide.acts import Row, acts_of, done_rows
from canalwright.guide.session import Phase, Session
from canalwright.planning import Plan
from canalwright.protocol import Act, Protocol
from canalwright.quantities import Quantity

QUICK = heat.Resolution.quick()
ALLOWED, TOLERATED = 7.0, 0.5
"""Nominal rise that needs no change, K; and how far the forecast may pass the plan's own before the rest is changed."""
ONCE, EACH = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0), (10.0, 20.0, 40.0)
"""Seconds that are tried on top of the pause before the next activation, and of each pause before one."""
SHARES = (0.75, 0.5)
SHORTEST = 0.5


@dataclass(frozen=True)
class Forecast:
    """The rest after what was done.

    `rise`: greatest rise at the root surface over the whole filling, K, with what is to come as it is now timed; `seconds`: other times by
    step that the rest should have, empty when the steps can stay; `then` the rise with them; `reached` the greatest up to the next
    activation, and `ahead` from it on with the new times (None: nothing is heated any more); `next` that activation's step; `wait` s to
    wait before it where it is up already and no pause is left; `enough`: whether `ahead` is what the planner allows itself.
    """

    rise: Quantity
    seconds: Mapping[int, float]
    then: Quantity
    reached: Quantity
    ahead: Quantity | None = None
    next: int | None = None
    wait: float = 0.0
    enough: bool = True

    @property
    def changes(self) -> bool:
        """Whether the times of the rest have to change."""
        return bool(self.seconds)


def forecast(plan: Plan, session: Session) -> Forecast:
    """The rest re-planned from what was done. With nothing left to heat the times of the plan come back.

    Raises ValueError where the heat model cannot follow what was done.
    """
    share = plan.heat.surface_rise.value / max(max(_rises(plan, list(plan.protocol.acts))), 1e-6)
    trial = _Trial(plan, session, share)
    now = {i: s.seconds for i, s in enumerate(session.steps) if s.seconds is not None and i >= trial.later}
    reached, after = trial.rises(now)
    told = _spread(plan, max(reached, after))
    if trial.next is None:
        back = trial.changed(trial.times())
        return Forecast(told, back, told, _spread(plan, reached))
    allowed = max(ALLOWED, plan.heat.surface_rise.value) + TOLERATED
    best, chosen, waited = after, now, 0.0
    for count, (wait, times) in enumerate(trial.ways()):
        before, then = trial.rises(times, wait)
        if count == 0 or then < best - 0.05:
            best, chosen, waited, reached = then, times, wait, before
        if then <= allowed:
            break
    whole = told if chosen == now and not waited else _spread(plan, max(reached, best))
    return Forecast(
        told, trial.changed(chosen), whole, _spread(plan, reached), _spread(plan, best), trial.next, waited, best <= allowed
    )  # fmt: skip


@dataclass(frozen=True)
class _Trial:
    """A session and the ways in which its rest may be timed."""

    plan: Plan
    session: Session
    share: float

    @property
    def later(self) -> int:
        """The first step that has not begun."""
        return self.session.index + (self.session.phase is not Phase.READY)

    @property
    def next(self) -> int | None:
        """The next activation that has not begun."""
        found = (i for i, s in enumerate(self.session.steps) if i >= self.later and s.kind == "heat")
        return next(found, None)

    def ways(self) -> Iterator[tuple[float, dict[int, float]]]:
        """Seconds to wait at once, and the times by step: those of the plan, then others, mildest first."""
        yield 0.0, self.times()
        for once in ONCE:
            yield self._wait(once), self.times(once=once)
        for each in EACH:
            yield self._wait(each), self.times(each=each)
        for share in SHARES:
            for each in (0.0, *EACH[1:]):
                yield self._wait(each), self.times(each=each, share=share)

    def times(self, once: float = 0.0, each: float = 0.0, share: float = 1.0) -> dict[int, float]:
        """Seconds of each timer to come: the plan's, with a longer pause before the next activation or before each, and a share of the
        activations."""
        found: dict[int, float] = {}
        last = max((i for i, s in enumerate(self.session.steps) if s.kind == "heat"), default=-1)
        for i, step in enumerate(self.session.steps):
            if i < self.later or step.seconds is None:
                continue
            planned = found[i] = float(self.plan.protocol.acts[step.act].seconds)
            if step.kind == "heat" and share < 1:
                found[i] = max(round(planned * share, 1), SHORTEST)
            elif step.kind == "pause" and i < last:
                found[i] = planned + each + (once if i == self._pause else 0.0)
        return found

    @property
    def _pause(self) -> int | None:
        """The pause before the next activation."""
        between = range(self.later, self.next or 0)
        return next((i for i in reversed(between) if self.session.steps[i].kind == "pause"), None)

    def _wait(self, seconds: float) -> float:
        return seconds if self._pause is None and self.session.index == self.next else 0.0

    def changed(self, times: Mapping[int, float]) -> dict[int, float]:
        """Of these times those that the session has not."""
        steps = self.session.steps
        return {i: t for i, t in times.items() if abs(t - (steps[i].seconds or 0.0)) > 1e-6}

    def rises(self, times: Mapping[int, float], wait: float = 0.0) -> tuple[float, float]:
        """Greatest rise at the root surface before the next activation, and from it on, K."""
        steps, first = self.session.steps, self.session.index
        past = done_rows(self.session)
        rest = [Row(s, self._depth(i), times.get(i, s.seconds)) for i, s in enumerate(steps) if i >= first]
        if wait:
            rest[0] = replace(rest[0], waited=wait)
        before = rest if self.next is None else rest[: self.next - first]
        found = _rises(self.plan, acts_of(self.plan, [*past, *rest]))
        at = len(acts_of(self.plan, [*past, *before])) + (wait > 0)
        return self.share * max(found[:at], default=0.0), self.share * max(found[at:], default=0.0)

    def _depth(self, at: int) -> float | None:
        """The depth of a step to come; of the one that is up what was noted, where it was."""
        noted = self.session.depth if at == self.session.index else None
        return self.session.steps[at].depth if noted is None else noted


def _rises(plan: Plan, acts: list[Act]) -> list[float]:
    """Greatest rise at the root surface during each act, K."""
    story = heat.simulate(plan.lumen, Protocol(tuple(acts)), resolution=QUICK, every=1e9)
    return [told.surface_rise for told in story.acts]


def _spread(plan: Plan, rise: float) -> Quantity:
    q = plan.heat.surface_rise
    part = rise / max(q.value, 1e-6)
    return Quantity(rise, min(q.low * part, rise), max(q.high * part, rise), "K", q.source, q.supposed, q.leading)
