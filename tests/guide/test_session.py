"""The chair's state machine: whatever is pressed whenever, the step and its timer make sense, and the events alone rebuild them."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from canalwright.guide import (
    BACK,
    DEPTH,
    GO,
    NOTE,
    PAUSE,
    RETIME,
    TRIED,
    Event,
    Phase,
    Session,
    Step,
    apply,
    begin,
    carried,
    debrief,
    fold,
)

STEPS = (
    Step(0, "place", "cone", 25, 20.5),
    Step(1, "heat", "carrier", None, 16.0, seconds=2.0, longest=3.0),
    Step(2, "bite", "carrier", None, 15.5),
    Step(3, "press", "plugger", None, 15.5, seconds=5.0),
    Step(4, "pause", seconds=8.0),
    Step(5, "heat", "carrier", None, 17.0, seconds=2.0),
)

events = st.builds(
    Event,
    kind=st.sampled_from([GO, BACK, PAUSE, NOTE, RETIME, TRIED]),
    moment=st.floats(-100, 1000),
    text=st.text(max_size=5),
    seconds=st.dictionaries(st.integers(0, 7), st.floats(0.5, 60), max_size=2),
) | st.builds(Event, kind=st.just(DEPTH), moment=st.floats(0, 1000), depth=st.floats(1, 40))


def _check(session: Session, now: float) -> None:
    assert len(session.done) == session.index <= len(STEPS)
    assert (session.phase is Phase.DONE) == (session.step is None)
    assert session.elapsed(now) >= 0
    assert (session.since is not None) == (session.phase is Phase.RUNNING)
    assert [d.step for d in session.done] == list(range(session.index))
    assert all(d.seconds >= 0 and d.waited >= 0 and d.ended >= d.began for d in session.done)
    assert [s.kind for s in session.steps] == [s.kind for s in STEPS]


@given(st.lists(events, max_size=40))
def test_any_order_of_keys_makes_sense(happened: list[Event]) -> None:
    session = begin(STEPS, 0.0)
    for event in happened:
        session = apply(session, event)
        _check(session, event.moment)
    assert fold(STEPS, 0.0, happened) == session


@given(st.lists(events, max_size=20), st.floats(0, 50))
def test_back_undoes_go(happened: list[Event], later: float) -> None:
    """After going on from any step that is not done, going back stands at that step again, its timer at nothing."""
    session = fold(STEPS, 0.0, happened)
    if session.phase is not Phase.READY:
        return
    again = apply(apply(session, Event(GO, later)), Event(BACK, later))
    assert (again.index, again.phase, again.before) == (session.index, Phase.READY, 0.0)


@given(st.lists(st.floats(0.01, 20), min_size=1, max_size=8))
def test_a_paused_timer_counts_only_while_it_runs(spans: list[float]) -> None:
    session, now = apply(begin(STEPS[1:], 0.0), Event(GO, 0.0)), 0.0
    for i, span in enumerate(spans):
        now += span
        session = apply(session, Event(PAUSE, now))
        assert session.phase is (Phase.PAUSED if i % 2 == 0 else Phase.RUNNING)
    assert abs(session.elapsed(now) - sum(spans[::2])) < 1e-6


def test_a_whole_filling_is_written_down() -> None:
    moments = [(GO, 10), (GO, 12), (GO, 14.5), (GO, 16), (GO, 17), (GO, 22), (GO, 23), (GO, 31), (GO, 32), (GO, 34)]
    session = fold(STEPS, 0.0, [Event(kind, t) for kind, t in moments])
    assert session.phase is Phase.DONE
    assert [round(d.seconds, 6) for d in session.done] == [10, 2.5, 1.5, 5, 8, 2]
    assert [round(d.waited, 6) for d in session.done] == [0, 2, 0, 1, 1, 1]
    assert not any(line.off for line in debrief(session))


def test_the_cone_is_tried_in_before_it_is_placed() -> None:
    """Told twice it counts once, its time is not that of placing, going back leads through it, and a log without it means the same."""
    tried = [Event(TRIED, 90.0), Event(TRIED, 91.0)]
    session = fold(STEPS, 0.0, tried)
    assert begin(STEPS, 0.0).trying and not session.trying and session.index == 0
    placed = apply(session, Event(GO, 100.0))
    assert (placed.done[0].seconds, placed.step) == (10.0, STEPS[1])
    back = fold(STEPS, 0.0, [*tried, Event(GO, 100.0), Event(BACK, 101.0)])
    assert not back.trying and apply(back, Event(BACK, 102.0)).trying
    assert fold(STEPS, 0.0, [Event(GO, 100.0)]).step == STEPS[1] and not fold(STEPS, 0.0, [Event(GO, 1.0)]).trying


def test_what_went_otherwise_is_worth_a_word() -> None:
    happened = [
        Event(GO, 1),
        Event(GO, 2),
        Event(DEPTH, 3, depth=17.2),
        Event(NOTE, 3, text="pedal held long"),
        Event(GO, 6),
    ]
    line = debrief(fold(STEPS, 0.0, happened))[1]
    assert line.off and line.seconds == 4 and line.depth == 17.2 and line.notes == ("pedal held long",)


def test_new_times_reach_only_what_has_not_begun() -> None:
    session = fold(STEPS, 0.0, [Event(GO, 1), Event(GO, 2), Event(RETIME, 3, seconds={1: 9.0, 4: 30.0})])
    assert session.steps[1].seconds == 2.0 and session.steps[4].seconds == 30.0


def test_what_was_done_stays_true_beside_the_steps_of_another_plan() -> None:
    """A step done as planned keeps the depth of the plan it was done by; times changed on the way stay with that plan."""
    happened = [
        Event(GO, 1.0),
        Event(RETIME, 1.5, seconds={3: 9.0}),
        Event(GO, 2.0),
        Event(DEPTH, 3.0, depth=16.4),
        Event(GO, 4.0),
        Event(GO, 5.0),
    ]
    told = carried(STEPS, 0.0, happened)
    assert RETIME not in {e.kind for e in told}
    deeper = tuple(replace(s, depth=None if s.depth is None else s.depth + 1.0) for s in STEPS)
    assert [d.depth for d in fold(deeper, 0.0, told).done] == [20.5, 16.4, 15.5]
    assert [d.depth for d in fold(deeper, 0.0, happened).done] == [21.5, 16.4, 16.5], (
        "without it they would be the other plan's"
    )
