"""The rest, re-planned: done as planned nothing changes; too much heat early asks for more patience later."""

from dataclasses import replace

import pytest

from canalwright import casefile, planning
from canalwright.guide import (
    GO,
    RETIME,
    Event,
    Session,
    begin,
    carried_out,
    concerning,
    doubt,
    doubts,
    fold,
    forecast,
    steps_of,
)
from canalwright.guide.depths import BEYOND, BINDS
from canalwright.guide.forecast import ALLOWED, TOLERATED
from canalwright.guide.session import apply
from canalwright.planning import Choices, Harm, Plan
from canalwright.planning.unpressed import unpressed
from canalwright.protocol import Heat
from canalwright.quantities import Quantity


@pytest.fixture(scope="module")
def plan() -> Plan:
    return planning.plan(
        casefile.demo_case().canals[1],
        casefile.generic_tray(),
        Choices(draws=64, rounds=3, activation=1.5, temperature=150.0),
    )


def _until(plan: Plan, heats: int, held: float) -> Session:
    """A session done to the letter until `heats` activations are over, the last of them `held` s long."""
    session, now = begin(steps_of(plan), 0.0), 0.0
    count = 0
    while session.step is not None and count < heats:
        step, act = session.step, plan.protocol.acts[session.index]
        if step.timed:
            session = apply(session, Event(GO, now))
        count += step.kind == "heat"
        now += held if step.kind == "heat" and count == heats else act.seconds
        session = apply(session, Event(GO, now))
    return session


def test_there_is_a_step_for_each_act(plan: Plan) -> None:
    steps = steps_of(plan)
    assert [s.act for s in steps] == list(range(len(plan.protocol.acts)))
    assert all(
        s.depth is not None and s.low is not None and s.high is not None and s.low <= s.depth <= s.high
        for s in steps
        if s.kind != "pause"
    )


def test_a_depth_that_cannot_be_is_doubted(plan: Plan) -> None:
    """Beyond the end of the root, or deeper than the instrument gets without binding; not within 0.5 mm of what was planned."""
    end = plan.canal.length.value
    for step in steps_of(plan):
        if step.depth is None:
            assert doubts(plan, step) == ()
            continue
        beyond = doubt(plan, step, end + 0.1)
        assert beyond is not None and beyond.kind == BEYOND and beyond.limit.low < end < beyond.limit.high
        assert doubt(plan, step, min(step.depth + 0.4, end)) is None
        tight = doubt(plan, step, end - 0.1)
        assert (tight is not None and tight.kind == BINDS) == (step.kind != "place")


def test_the_findings_of_an_act_stand_on_it(plan: Plan) -> None:
    steps = steps_of(plan)
    tried = {f.code for f in concerning(plan, steps[0], trying=True)}
    assert "cone-beyond" in tried & {f.code for f in plan.findings}
    by_kind = {s.kind: {f.code for f in concerning(plan, s, trying=False)} for s in steps}
    assert "surface-may-heat" in by_kind["heat"] and by_kind["pause"] == set()
    assert all(f.harm >= Harm.CAUTION for s in steps for f in concerning(plan, s, trying=False))


def test_a_round_that_is_not_pressed_is_told_of_at_its_own_press_alone(plan: Plan) -> None:
    """Not at those of other rounds with the same plugger, nor at a portion of the same number."""
    far = plan.rounds[0].carrier_stop.value - 2.0
    stops = tuple(replace(r, plugger_stop=Quantity.exact(far, "mm")) if r.number == 1 else r for r in plan.rounds)
    told = replace(plan, findings=tuple(unpressed(replace(plan, rounds=stops))))
    assert [f.code for f in told.findings] == ["press-out-of-reach"]
    steps = [s for s in steps_of(told) if concerning(told, s, trying=False)]
    assert [(s.kind, s.number) for s in steps] == [("press", 1)]
    assert sum((s.kind, s.number) == ("press", 1) for s in steps_of(told)) > 1, "the first portion is pressed too"


def test_done_as_planned_the_forecast_is_the_plan(plan: Plan) -> None:
    session = _until(plan, 1, plan.rounds[0].activation.value)
    assert forecast(plan, session).rise.value == pytest.approx(plan.heat.surface_rise.value, rel=0.01)
    first = next(a for a in carried_out(plan, session) if isinstance(a, Heat))
    assert first.seconds == pytest.approx(plan.rounds[0].activation.value)


def test_a_pedal_held_long_is_hotter_and_changes_the_rest(plan: Plan) -> None:
    """What is past stays hot; the rest gets a longer pause before the next activation, until that is no hotter than the plan's own."""
    usual, session = forecast(plan, _until(plan, 1, 1.5)), _until(plan, 1, 9.0)
    long = forecast(plan, session)
    assert not usual.changes and usual.ahead is not None
    assert long.reached.value > usual.rise.value and long.reached.low <= long.reached.value <= long.reached.high
    assert long.changes and long.enough and long.next is not None and long.ahead is not None
    assert long.ahead.value <= max(ALLOWED, plan.heat.surface_rise.value) + TOLERATED < long.reached.value
    (pause,) = long.seconds
    assert session.steps[pause].kind == "pause" and pause < long.next and long.seconds[pause] > 8.0
    assert long.then.value <= long.rise.value
    after = apply(session, Event(RETIME, 0.0, seconds=long.seconds))
    assert not forecast(plan, after).changes, "planned anew once, not at every look"
    while after.index < pause:
        step = after.step
        assert step is not None
        after = apply(after, Event(GO, after.entered)) if step.timed else after
        after = apply(after, Event(GO, after.entered + plan.protocol.acts[step.act].seconds))
    assert not forecast(plan, apply(after, Event(GO, after.entered))).changes, "nor while the longer pause runs"
    back = fold(after.steps, 0.0, [])
    assert forecast(plan, back).seconds == {pause: 8.0}, (
        "with the long activation taken back the plan's own times return"
    )


def test_a_pause_that_was_cut_short_is_waited_for_before_the_next_activation(plan: Plan) -> None:
    session = _until(plan, 1, 20.0)
    now = session.entered
    while session.step is not None and session.step.kind != "heat":
        session = (
            apply(apply(session, Event(GO, now)), Event(GO, now + 1.0))
            if session.step.timed
            else apply(session, Event(GO, now))
        )
        now += 1.0
    found = forecast(plan, session)
    assert found.wait > 0 and found.next == session.index and not found.changes


def test_after_the_last_activation_nothing_is_timed_anew(plan: Plan) -> None:
    found = forecast(plan, _until(plan, 3, 9.0))
    assert (found.next, found.ahead, dict(found.seconds)) == (None, None, {}) and found.reached.value > 10


def test_a_session_that_stood_over_night_goes_on_from_a_cold_root(plan: Plan) -> None:
    """Eight hours in balance are as long as the model has to follow, so that the answer comes at once."""
    long, night = (_until(plan, 1, held) for held in (600.0, 8 * 3600.0))
    assert night.done[-1].seconds > 8 * 3600 - 60
    assert carried_out(plan, night) == carried_out(plan, long)
    assert sum(a.seconds for a in carried_out(plan, night)) < 1000
