"""Other stops for the rest: what follows for bites, presses and rounds to come where an act went deeper or less deep than planned.

Pure geometry, by the planner's own rules (`planning.downpack`, `planning.backfill`): from where the filling ends now, the way to the
deepest carrier stop of the plan is split into equal plunges again, as many as were left where these are neither too long nor too short for
a heat, each pressed by the widest plugger that gets through the surface it leaves. The backfill begins where the downpack will end.

Left out: a cone or a needle at another depth (nothing after it is set by that), and depths that cannot be (`guide.depths`), which are
asked about instead. What the heat model says of the new stops is the forecast's to tell.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from canalwright.guide.debrief import DEEP
from canalwright.guide.depths import doubt
from canalwright.guide.session import STOPS, Event, Laid, Session, apply
from canalwright.guide.steps import Step
from canalwright.instruments import Needle, Plugger
from canalwright.planning import Plan, practice
from canalwright.planning.backfill import LEAST_PORTION, lay_portions, needle_stop, widest_needle
from canalwright.planning.downpack import Step as Stations
from canalwright.planning.downpack import lay_rounds, widest_reaching
from canalwright.protocol import Heat, Inject
from canalwright.protocol.acts import TOUCH

LEAST_PLUNGE = 1.0
"""A way shorter than this is not worth another heat, mm (common practice)."""
SETS = ("sear", "heat", "bite", "press")
"""Acts whose depth sets what follows, and those of them after which the filling ends there."""
ENDS = ("sear", "bite", "press")


def taken(plan: Plan, session: Session, event: Event) -> tuple[Event, ...]:
    """The event, and after it the stops that the rest has from then on where they become other ones."""
    after = apply(session, event)
    rest = laid(plan, after)
    return (event,) if rest is None else (event, Event(STOPS, event.moment, rest=rest))


def laid(plan: Plan, session: Session) -> tuple[Laid, ...] | None:
    """The acts after the one that is up as they have to be; None where they are so already."""
    if session.step is None:
        return None
    first = session.index + 1
    wanted, now = tuple(map(Laid.of, session.laid[first:])), tuple(map(Laid.of, session.steps[first:]))
    step, depth = session.laid[session.index], session.depth
    moved = depth is not None and step.depth is not None and abs(depth - step.depth) > DEEP
    if moved and depth is not None and step.kind in SETS and doubt(plan, step, depth) is None:
        wanted = _Laying(plan, session).after(depth)
    return None if _alike(wanted, now) else wanted


def anew(session: Session) -> bool:
    """Whether what was noted of the act that is up has given the rest other stops."""
    first = session.index + 1
    return not _alike(tuple(map(Laid.of, session.laid[first:])), tuple(map(Laid.of, session.steps[first:])))


def packs(session: Session) -> float | None:
    """How far the press that is up packs the surface that the bite before it left, mm (negative: it ends above it); None at another act."""
    step, bite = session.step, session.done[-1] if session.done else None
    if step is None or bite is None or step.kind != "press" or session.steps[bite.step].kind != "bite":
        return None
    return None if step.depth is None or bite.depth is None else step.depth - bite.depth


def _alike(one: Sequence[Laid], other: Sequence[Laid]) -> bool:
    return len(one) == len(other) and all(
        (a.act, a.tool, a.number) == (b.act, b.tool, b.number) and abs((a.depth or 0.0) - (b.depth or 0.0)) < 0.05
        for a, b in zip(one, other, strict=True)
    )


@dataclass(frozen=True)
class _Laying:
    """The rest of one session, laid from a depth at the act that is up."""

    plan: Plan
    session: Session

    def after(self, depth: float) -> tuple[Laid, ...]:
        """The acts after the one that is up, done at `depth`."""
        z, step = self._z(depth), self._up
        if step.kind == "press" and not self._downpack:
            return (self._pause, *self._portions(z))
        top = min(z + practice.LEFT_BY_BITE if step.kind == "heat" else z, self._top)
        own: list[tuple[float, str]] = [(top, self.plan.carrier.name)] if step.kind == "heat" else []
        if step.kind in ("heat", "bite"):
            plugger, limit = widest_reaching(self._pluggers, top)
            own.append((max(top - practice.SETTLE, limit), plugger.name))
            top = min(top, own[-1][0])
        rounds = self._rounds(top)
        of_round = self._round_ends(own, last=not rounds) if step.number else [self._pause]
        return (*of_round, *self._laid_rounds(rounds), *self._portions(rounds[-1].left if rounds else top))

    def _round_ends(self, own: Sequence[tuple[float, str]], *, last: bool) -> list[Laid]:
        """What is left of the round that is up: its bite and its press as far as they are to come, and the pause."""
        number = self._up.number
        bite, press, pause = self._acts(number, last=last)
        acts = (bite, press)[2 - len(own) :]
        ends = [Laid(act, number, self._depth(z), tool) for act, (z, tool) in zip(acts, own, strict=True)]
        return [*ends, Laid(pause)]

    def _rounds(self, top: float) -> tuple[Stations, ...]:
        """Rounds to come: as many as were left, more where plunges would be too long, fewer where the way is not worth them."""
        last = self._heats[-1]
        way, reach = top - last.stop, max(r.bite.value + practice.LEFT_BY_BITE for r in self.plan.rounds)
        if way < LEAST_PLUNGE:
            return ()
        longest = min(practice.PLUNGE_MOST, max(reach, last.seconds * practice.PLUNGE_SPEED))
        left = sum(s.kind == "heat" for s in self._rest)
        count = max(min(left, math.floor(way / LEAST_PLUNGE)), math.ceil(way / longest - 1e-9))
        return lay_rounds(top, last.stop, self._pluggers, count)

    def _laid_rounds(self, rounds: Sequence[Stations]) -> list[Laid]:
        told: list[Laid] = []
        for number, one in enumerate(rounds, start=self._up.number + 1):
            bite, press, pause = self._acts(number, last=one is rounds[-1])
            told += [
                Laid(bite - 1, number, self._depth(one.carrier_stop), self.plan.carrier.name),
                Laid(bite, number, self._depth(one.bitten), self.plan.carrier.name),
                Laid(press, number, self._depth(one.pressed), one.plugger.name),
                Laid(pause),
            ]
        return told

    def _acts(self, number: int, *, last: bool) -> tuple[int, int, int]:
        """Bite, press and pause of that round of the plan which one of this number is like: the last hold is longer than the others."""
        heats = [i for i, act in enumerate(self.plan.protocol.acts) if isinstance(act, Heat)]
        at = heats[-1] if last or len(heats) == 1 else heats[min(number, len(heats) - 1) - 1]
        return at + 1, at + 2, at + 3

    def _portions(self, floor: float) -> tuple[Laid, ...]:
        """Portions from a floor to where the filling ends: those to come, the first begun at the floor; all anew where it gets too long.

        A portion that the floor leaves less than 0.3 mm of is left out.
        """
        first = next((i for i, s in enumerate(self._rest) if s.kind == "inject"), len(self._rest))
        rest = self._rest[first:]
        if rest and abs(self._floor - floor) <= TOUCH:
            return tuple(map(Laid.of, rest))
        tops = [(i, self._z(s.depth)) for i, s in enumerate(rest) if s.kind == "press" and s.depth is not None]
        over = next(((i, top) for i, top in tops if top - floor >= LEAST_PORTION), None)
        if over is not None and over[1] - floor <= practice.PORTION + DEEP:
            return (*self._portion(floor, over[1], rest[over[0]].number), *map(Laid.of, rest[over[0] + 2 :]))
        number = rest[0].number if rest else len(self._injects) + 1
        edges = lay_portions(floor, self._z(self.plan.backfill_top.value)) if self._injects else ()
        return tuple(act for n, (low, high) in enumerate(edges, number) for act in self._portion(low, high, n))

    def _portion(self, low: float, high: float, number: int) -> tuple[Laid, ...]:
        """Needle, press and pause of one portion; none without a needle."""
        needle, (plugger, _) = widest_needle(self._needles, low), widest_reaching(self._pluggers, high)
        if needle is None:
            return ()
        act = self._injects[min(number, len(self._injects)) - 1]
        return (
            Laid(act, number, self._depth(needle_stop(low, needle[1])), needle[0].name),
            Laid(act + 1, number, self._depth(high), plugger.name),
            Laid(act + 2),
        )

    @property
    def _up(self) -> Step:
        return self.session.laid[self.session.index]

    @property
    def _rest(self) -> tuple[Step, ...]:
        return self.session.laid[self.session.index + 1 :]

    @property
    def _pause(self) -> Laid:
        return Laid.of(self._rest[0])

    @property
    def _downpack(self) -> bool:
        """Whether the press that is up is one of the downpack."""
        return self.session.laid[self.session.index - 1].kind == "bite"

    @property
    def _top(self) -> float:
        """Where the filling ends, before the act that is up, by what was done."""
        ends = (
            self._z(d.depth)
            for d in self.session.done
            if d.depth is not None and self.session.steps[d.step].kind in ENDS
        )
        return min(ends, default=math.inf)

    @property
    def _floor(self) -> float:
        """Where the portions to come were to begin."""
        if self._up.kind == "press" and not self._downpack:
            return self._z(self._up.depth or 0.0)
        before = [
            *self.session.laid[: self.session.index + 1],
            *itertools.takewhile(lambda s: s.kind != "inject", self._rest),
        ]
        return min(self._z(s.depth) for s in before if s.kind in ENDS and s.depth is not None)

    @property
    def _heats(self) -> list[Heat]:
        return [act for act in self.plan.protocol.acts if isinstance(act, Heat)]

    @property
    def _injects(self) -> list[int]:
        return [i for i, act in enumerate(self.plan.protocol.acts) if isinstance(act, Inject)]

    @property
    def _pluggers(self) -> tuple[tuple[Plugger, float], ...]:
        return tuple((p.plugger, self._z(p.stop.value)) for p in self.plan.pluggers)

    @property
    def _needles(self) -> tuple[tuple[Needle, float], ...]:
        """Needles of the tray that inject, with the deepest station of each."""
        reach = {r.name: self._z(r.depth.value) for r in self.plan.reaches if r.kind == "needle"}
        return tuple((n, reach[n.name]) for n in self.plan.tray.needles if n.name in reach)

    def _z(self, depth: float) -> float:
        return self.plan.canal.length.value - depth

    def _depth(self, z: float) -> float:
        return round(self.plan.canal.depth(z), 2)
