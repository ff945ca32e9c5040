"""Other stops for the rest: what follows from a noted depth keeps to the planner's rules, and is taken back with it."""

from collections.abc import Iterator
from itertools import pairwise
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile, planning
from canalwright.guide import (
    BACK,
    DEPTH,
    GO,
    STOPS,
    TRIED,
    Event,
    Session,
    Step,
    apply,
    begin,
    carried_out,
    doubt,
    fold,
    forecast,
    steps_of,
    taken,
)
from canalwright.guide.debrief import DEEP
from canalwright.guide.laying import LEAST_PLUNGE
from canalwright.guide.log import event_of, plain
from canalwright.planning import Choices, Plan, practice
from canalwright.protocol import Act, Bite, Heat, Inject, Press

CANALS = (0, 2)
A = TypeVar("A")


@pytest.fixture(scope="module", params=CANALS, ids=("curved", "wide"))
def plan(request: pytest.FixtureRequest) -> Plan:
    """One canal with a narrow end and four rounds, one with a post and three."""
    return _plan(request.param)


_PLANS: dict[int, Plan] = {}


def _plan(canal: int) -> Plan:
    if canal not in _PLANS:
        _PLANS[canal] = planning.plan(casefile.demo_case().canals[canal], casefile.generic_tray(), Choices(draws=64))
    return _PLANS[canal]


def _told(plan: Plan, session: Session, event: Event) -> Session:
    for each in taken(plan, session, event):
        session = apply(session, each)
    return session


def _at(plan: Plan, index: int) -> Session:
    """A session done to the letter up to a step."""
    session = apply(begin(steps_of(plan), 0.0), Event(TRIED, 0.0))
    while session.index < index:
        session = _told(plan, session, Event(GO, session.entered + 5.0))
    return session


def _noted(plan: Plan, index: int, by: float) -> Session:
    """The same, with a depth noted that is `by` mm deeper than planned."""
    step = steps_of(plan)[index]
    assert step.depth is not None
    return _told(plan, _at(plan, index), Event(DEPTH, 9000.0, depth=step.depth + by))


def _heats(steps: tuple[Step, ...]) -> list[int]:
    return [i for i, s in enumerate(steps) if s.kind == "heat"]


def _depths(steps: tuple[Step, ...], kind: str) -> list[float]:
    return [s.depth for s in steps if s.kind == kind and s.depth is not None]


def test_a_depth_within_what_a_hand_errs_changes_nothing(plan: Plan) -> None:
    for index, step in enumerate(steps_of(plan)):
        if step.depth is not None:
            assert _noted(plan, index, 0.4).steps == _noted(plan, index, -0.4).steps == steps_of(plan)


def test_a_carrier_that_stopped_short_is_followed_by_bite_press_and_rounds(plan: Plan) -> None:
    """The bite is taken from where the carrier was, the press packs what it softened, the way left is split evenly to the plan's end."""
    steps = steps_of(plan)
    first = _heats(steps)[0]
    session = _noted(plan, first, -1.0)
    bite, press = session.steps[first + 1 : first + 3]
    carrier = (steps[first].depth or 0.0) - 1.0
    assert bite.depth == pytest.approx(carrier - practice.LEFT_BY_BITE, abs=0.02) and bite.anew
    assert press.depth == pytest.approx((bite.depth or 0.0) + practice.SETTLE, abs=0.02) and press.anew
    stops = [carrier, *_depths(session.steps[first + 1 :], "heat")]
    plunges = [b - a for a, b in pairwise(stops)]
    assert max(plunges) - min(plunges) < 0.05 and stops[-1] == pytest.approx(_depths(steps, "heat")[-1], abs=0.02)
    assert session.step == steps[first], "what was asked for stays what is compared with"
    moved = next(s for s in session.steps if s.anew)
    planned = steps[moved.act]
    assert (moved.high or 0) - (moved.depth or 0) == pytest.approx((planned.high or 0) - (planned.depth or 0))


def test_a_last_round_that_stopped_short_is_followed_by_one_more(plan: Plan) -> None:
    steps = steps_of(plan)
    last = _heats(steps)[-1]
    more, same = _noted(plan, last, -1.4), _noted(plan, last, -0.8)
    assert len(_heats(more.steps)) == len(_heats(steps)) + 1 and len(_heats(same.steps)) == len(_heats(steps))
    added = more.steps[_heats(more.steps)[-1]]
    assert (
        added.anew
        and added.number == steps[last].number + 1
        and added.depth == pytest.approx(steps[last].depth, abs=0.02)
    )
    holds = [s.seconds for s in more.steps[last:] if s.kind == "press"][:2]
    assert holds[0] == practice.PRESS, "only the last press of the downpack is held until it is firm"
    assert holds[1] == next(s.seconds for s in steps[last:] if s.kind == "press")
    made = forecast(plan, _told(plan, more, Event(GO, 9001.0)))
    assert made.next == _heats(more.steps)[-1] and made.rise.low <= made.rise.value <= made.rise.high


def test_a_carrier_that_went_deeper_needs_fewer_rounds(plan: Plan) -> None:
    steps = steps_of(plan)
    first, stops = _heats(steps)[0], _depths(steps, "heat")
    session = _noted(plan, first, stops[-1] - stops[0] - 0.8)
    assert len(_heats(session.steps)) == 1, "what is left is not worth another heat"


def test_a_bite_that_took_more_leaves_more_to_inject(plan: Plan) -> None:
    """The whole plug came out: the press cannot get there, the first portion begins deeper."""
    steps = steps_of(plan)
    bite = _heats(steps)[-1] + 1
    session = _noted(plan, bite, 1.5)
    assert _depths(session.steps, "inject")[0] > _depths(steps, "inject")[0] + 0.5
    assert _depths(session.steps, "press")[-1] == pytest.approx(_depths(steps, "press")[-1], abs=0.02)


def test_a_portion_that_would_get_too_long_to_be_packed_is_shared_out() -> None:
    """A bite took so much that the first portion, begun at its floor, would be longer than one is: all are laid anew, one more."""
    plan = _plan(1)
    steps = steps_of(plan)
    session = _noted(plan, _heats(steps)[-1] + 1, 1.5)
    portions, before = _depths(session.steps, "inject"), _depths(steps, "inject")
    assert len(portions) == len(before) + 1
    assert max(a - b for a, b in pairwise([*portions, plan.backfill_top.value])) <= practice.PORTION + DEEP


def test_a_portion_packed_otherwise_moves_the_next_needle_alone(plan: Plan) -> None:
    steps = steps_of(plan)
    presses = [i for i, s in enumerate(steps) if s.kind == "press" and steps[i - 1].kind == "inject"]
    if len(presses) < 2:
        assert _noted(plan, presses[0], -0.6).steps == steps, "nothing follows the last portion"
        return
    session = _noted(plan, presses[0], 0.7)
    after = session.steps[presses[0] + 1 :]
    assert len(session.steps) == len(steps) and [s.depth for s in after][2:] == [
        s.depth for s in steps[presses[0] + 3 :]
    ]
    assert after[1].depth == pytest.approx((steps[presses[0] + 2].depth or 0) + 0.7, abs=0.3)


def test_a_depth_that_cannot_be_lays_nothing(plan: Plan) -> None:
    index = _heats(steps_of(plan))[0]
    by = plan.canal.length.value - (steps_of(plan)[index].depth or 0.0) + 0.5
    assert _noted(plan, index, by).steps == steps_of(plan)


def test_a_mistyped_depth_is_mended_and_taken_back(plan: Plan) -> None:
    """The plan's own stops return when the depth is corrected, and when the act is gone back over."""
    steps = steps_of(plan)
    index = _heats(steps)[0]
    wrong = _noted(plan, index, -1.4)
    assert wrong.steps != steps
    assert _told(plan, wrong, Event(DEPTH, 9001.0, depth=steps[index].depth)).steps == steps
    assert _told(plan, wrong, Event(BACK, 9001.0)).steps == steps
    on = _told(plan, _told(plan, wrong, Event(GO, 9001.0)), Event(GO, 9003.0))
    assert on.index == index + 1 and on.steps == wrong.steps, "what was laid stays when the work goes on"
    back = _told(plan, on, Event(BACK, 9004.0))
    assert back.index == index and back.steps == steps


def test_what_was_done_is_heated_as_it_was_done(plan: Plan) -> None:
    """Bite and press of a round that ended higher lie higher in the model too, and its plunge is as long as its way."""
    steps = steps_of(plan)
    first = _heats(steps)[0]
    session = _noted(plan, first, -1.0)
    while session.index < first + 4:
        session = _told(plan, session, Event(GO, session.entered + 5.0))
    done, planned = carried_out(plan, session), list(plan.protocol.acts)
    assert _first(done, Heat).stop == pytest.approx(_first(planned, Heat).stop + 1.0)
    assert _first(done, Heat).plunge < _first(planned, Heat).plunge
    assert _first(done, Bite).level == pytest.approx(_first(planned, Bite).level + 1.0, abs=0.02)
    assert _first(done, Press).stop > _first(planned, Press).stop + 0.5


def _first(acts: list[Act], kind: type[A]) -> A:
    return next(a for a in acts if isinstance(a, kind))


def test_the_log_holds_what_was_laid(plan: Plan) -> None:
    index = _heats(steps_of(plan))[0]
    events = [Event(TRIED, 0.0), *(Event(GO, 1.0 + i) for i in range(index + 2))]
    session, told = begin(steps_of(plan), 0.0), []
    while session.index < index:
        told.append(events.pop(0))
        session = apply(session, told[-1])
    told += taken(plan, session, Event(DEPTH, 50.0, depth=(steps_of(plan)[index].depth or 0.0) - 1.0))
    assert told[-1].kind == STOPS and [event_of(plain(e)) for e in told] == told
    there = fold(steps_of(plan), 0.0, told)
    assert there.steps != steps_of(plan)
    for act in (999, -1):
        unknown = event_of({"kind": STOPS, "moment": 1.0, "rest": [{"act": act, "number": 0}]})
        assert fold(steps_of(plan), 0.0, [unknown]).steps == there.base, "a log that names an act that the plan has not"


@settings(max_examples=120, deadline=None)
@given(canal=st.sampled_from(CANALS), at=st.floats(0, 1), by=st.floats(-6, 6), then=st.floats(-3, 3))
def test_whatever_is_noted_the_rest_keeps_to_the_rules(canal: int, at: float, by: float, then: float) -> None:
    """Two depths noted one after the other, anywhere: rounds are whole, go down by plunges that can be made to the plan's deepest stop, no
    plugger goes past its stop, portions go up to where the filling ends."""
    plan = _plan(canal)
    steps = steps_of(plan)
    where = [i for i, s in enumerate(steps) if s.kind in ("sear", "heat", "bite", "press")]
    index = where[min(int(at * len(where)), len(where) - 1)]
    session = _at(plan, index)
    for more in (by, then):
        step = session.step
        while step is not None and step.kind not in ("sear", "heat", "bite", "press"):
            session = _told(plan, session, Event(GO, session.entered + 5.0))
            step = session.step
        if step is None or step.depth is None:
            break
        depth = step.depth + more
        if not 0.5 < depth < 59 or doubt(plan, step, depth) is not None:
            break
        session = _told(plan, session, Event(DEPTH, session.entered + 1.0, depth=depth))
        _keeps_to_the_rules(plan, session)
        session = _told(plan, _told(plan, session, Event(GO, session.entered + 2.0)), Event(GO, session.entered + 4.0))
    assert carried_out(plan, session) or session.index < 2


def _keeps_to_the_rules(plan: Plan, session: Session) -> None:
    rest = session.steps[session.index + 1 :]
    deepest = _depths(steps_of(plan), "heat")[-1]
    limit = {p.plugger.name: p.stop.value for p in plan.pluggers}
    for step in rest:
        assert step.kind != "press" or (step.depth or 0.0) <= limit[step.tool] + 0.02
    assert [s.kind for s in rest if s.kind != "pause"] == list(_order(rest, session))
    stops = _depths(rest, "heat")
    assert all(b > a for a, b in pairwise(stops)) and (not stops or stops[-1] == pytest.approx(deepest, abs=0.02))
    assert all(b - a <= practice.PLUNGE_MOST + 0.03 for a, b in pairwise(stops))
    if session.steps != session.laid and len(stops) > 1:
        assert min(b - a for a, b in pairwise(stops)) > LEAST_PLUNGE - 0.05
    portions = [s for s in rest if s.kind == "inject"]
    for needle, packed_to in zip(portions, _depths(rest, "press")[-len(portions) :], strict=False):
        assert (needle.depth or 0.0) - packed_to <= practice.PORTION + DEEP + 0.02, (
            "no portion is too long to be packed"
        )
    if portions:
        assert _depths(rest, "press")[-1] == pytest.approx(plan.backfill_top.value, abs=0.02)
        packed = [a.top - a.bottom for a in plan.protocol.acts if isinstance(a, Inject)]
        assert len(portions) <= len(packed) + 2


def _order(rest: tuple[Step, ...], session: Session) -> Iterator[str]:
    """The kinds that have to follow: what is left of this round, whole rounds, whole portions."""
    up = session.steps[session.index]
    if up.kind == "heat":
        yield from ("bite", "press")
    elif up.kind == "bite":
        yield "press"
    for _ in range(sum(s.kind == "heat" for s in rest)):
        yield from ("heat", "bite", "press")
    for _ in range(sum(s.kind == "inject" for s in rest)):
        yield from ("inject", "press")
