"""The rest, re-planned: done as planned nothing changes; too much heat early asks for more patience later."""

import pytest

from canalwright import casefile, planning
from canalwright.guide import GO, Event, Session, begin, carried_out, forecast, steps_of
from canalwright.guide.session import apply
from canalwright.planning import Choices, Plan
from canalwright.protocol import Heat


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
    assert all(s.depth is not None for s in steps if s.kind != "pause")


def test_done_as_planned_the_forecast_is_the_plan(plan: Plan) -> None:
    session = _until(plan, 1, plan.rounds[0].activation.value)
    assert forecast(plan, session).rise.value == pytest.approx(plan.heat.surface_rise.value, rel=0.05)
    first = next(a for a in carried_out(plan, session.done) if isinstance(a, Heat))
    assert first.seconds == pytest.approx(plan.rounds[0].activation.value)


def test_a_pedal_held_long_is_hotter_and_changes_the_rest(plan: Plan) -> None:
    usual, long = (forecast(plan, _until(plan, 1, held)) for held in (1.5, 7.0))
    assert long.rise.value > usual.rise.value
    assert long.rise.low <= long.rise.value <= long.rise.high
    assert long.then.value <= long.rise.value
    if long.changes:
        session = _until(plan, 1, 7.0)
        assert all(session.steps[i].kind in ("heat", "pause") for i in long.seconds)


def test_a_session_that_stood_over_night_goes_on_from_a_cold_root(plan: Plan) -> None:
    """Eight hours in balance are as long as the model has to follow, so that the answer comes at once."""
    long, night = (_until(plan, 1, held) for held in (600.0, 8 * 3600.0))
    assert night.done[-1].seconds > 8 * 3600 - 60
    assert carried_out(plan, night.done) == carried_out(plan, long.done)
    assert sum(a.seconds for a in carried_out(plan, night.done)) < 1000
