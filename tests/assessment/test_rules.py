"""Criteria, comparison with the plan, habits, post and ferrule: pure rules, held by their own logic."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.anatomy import Canal
from canalwright.assessment import (
    Assessment,
    Beyond,
    PortalSeen,
    Sight,
    compare,
    criteria,
    habits,
    restoration,
    unseen,
)
from canalwright.assessment.film.overlay import lay_over
from canalwright.assessment.film.straight import straighten
from canalwright.guide import Done
from canalwright.planning import Choices, Plan, plan
from canalwright.protocol import Heat, Inject, Place, Press
from canalwright.quantities import Quantity
from canalwright.shaping import shaped


def _mm(value: float, half: float = 0.1) -> Quantity:
    return Quantity(value, value - half, value + half, "mm")


def _found(to_terminus: Quantity, **more: object) -> Assessment:
    given_: dict[str, object] = {
        "tooth": 46, "canal": "distal", "basis": "micro-CT", "how": "test", "to_terminus": to_terminus,
        "length_filled": _mm(10.0), "grade": criteria.grade(criteria.length_criterion(to_terminus)), "taper": None,
        "void_share": Quantity(0.01, 0.0, 0.02, ""), "stations": (), "voids": (), "portals": (), "beyond": Beyond(Sight.ABSENT),
        "smallest_void": _mm(0.2), "not_seen": ("voids",),
    }  # fmt: skip
    return Assessment(**(given_ | more))  # type: ignore[arg-type]


# ---- criteria


@pytest.mark.parametrize(
    ("short", "met"), [(0.3, True), (1.7, True), (2.6, False), (-0.6, False), (2.0, None), (0.0, None)]
)
def test_the_band_of_two_millimetres_has_both_its_edges(short: float, met: bool | None) -> None:
    assert criteria.length_criterion(_mm(short, 0.2)).met is met


@settings(deadline=None, max_examples=40)
@given(st.floats(-3, 5), st.floats(0.01, 1.0))
def test_a_chance_lies_between_0_and_1_within_its_interval(value: float, half: float) -> None:
    q = criteria.chance_within(_mm(value, half), 0.0, 2.0)
    assert 0 <= q.low <= q.value <= q.high <= 1


def test_a_grade_is_no_better_than_its_worst_criterion() -> None:
    made = criteria.grade(criteria.length_criterion(_mm(1.0)), criteria.density_criterion((0.97,), _mm(0.2), 10.0))
    assert made.chance.value <= min(c.chance.value for c in made.criteria)
    assert made.word == "inadequate"


def test_no_void_seen_is_not_no_void() -> None:
    """On a cone-beam scan, where voids under 0.4 mm hide, none seen is far from sure; micro-CT shows all that count."""
    coarse = criteria.density_criterion((), Quantity(0.4, 0.32, 0.52, "mm"), 10.0).chance
    fine = criteria.density_criterion((), Quantity(0.1, 0.08, 0.13, "mm"), 10.0).chance
    assert coarse.low < 0.6 and coarse.value < 0.9 and coarse.high < 1
    assert fine.low > 0.99
    assert criteria.density_criterion((1.0,), Quantity(0.4, 0.32, 0.52, "mm"), 10.0).chance.high == 0


def test_the_law_of_the_voids_gives_the_published_share_of_the_canal() -> None:
    """0.25 % of a canal 0.8 mm wide, and 8 voids to a millimetre."""
    d = np.geomspace(unseen.FINEST, unseen.WIDEST, 3000)
    number = -np.diff(unseen.voids_wider(d))
    share = (number * np.pi / 6 * (d[1:] * d[:-1]) ** 1.5).sum() / (np.pi / 4 * unseen.WIDEST**2)
    assert share == pytest.approx(0.0025, rel=0.01)
    assert number.sum() == pytest.approx(unseen.PER_MM, rel=0.01)


@settings(deadline=None, max_examples=25)
@given(st.floats(0.1, 0.9), st.floats(2.0, 14.0), st.integers(0, 2**31))
def test_the_interval_of_the_unseen_voids_holds_the_truth_of_simulated_fillings(
    smallest: float, length: float, seed: int
) -> None:
    """Fillings with voids drawn by their law, looked at by an image that shows the wider ones.

    Where none was seen, the chance told is the share of fillings without a void of 0.2 mm or more, and each filling's own chance lies in
    the interval nine times in ten.
    """
    rng = np.random.default_rng(seed)
    told = unseen.chance_of_none(Quantity(smallest, 0.8 * smallest, 1.3 * smallest, "mm"), length)
    sizes = np.geomspace(unseen.FINEST, unseen.WIDEST, 60)
    number, middle = -np.diff(unseen.voids_wider(sizes)) * length, np.sqrt(sizes[1:] * sizes[:-1])
    more = rng.exponential(1.0, 6000)
    least = np.exp(rng.normal(np.log(smallest), 0.14, 6000))
    shown = unseen.chance_seen(middle[None], least[:, None])
    none_seen = rng.poisson(more * (number * shown).sum(1)) == 0
    missed = ((number * (1 - shown))[:, middle >= unseen.LEAST]).sum(1)
    own = np.exp(-more * missed)[none_seen]
    if len(own) < 300:
        return
    assert told.low <= told.value <= told.high
    assert np.mean((told.low - 0.005 <= own) & (own <= told.high + 0.005)) >= 0.87
    without = rng.poisson((more * missed)[none_seen]) == 0
    assert without.mean() == pytest.approx(told.value, abs=0.06)


def test_an_assessment_is_plain_json_and_keeps_what_was_not_seen() -> None:
    told = _found(_mm(1.0)).as_json()
    assert told["not_seen"] == ["voids"] and told["beyond"]["sight"] == "absent"
    assert told["grade"]["word"] == "adequate" and told["to_terminus"]["low"] == pytest.approx(0.9)


# ---- against the plan


@pytest.fixture(scope="module")
def made() -> Plan:
    return plan(casefile.demo_case().canals[2], casefile.generic_tray(), Choices(draws=64))


def test_residuals_join_what_was_planned_done_and_came_out(made: Plan) -> None:
    aim = made.canal.depth(next(a.tip for a in made.protocol.acts if isinstance(a, Place)))
    step = next(i for i, a in enumerate(made.protocol.acts) if isinstance(a, Place))
    done = (Done(step, step, 0.0, 1.0, 0.0, 1.0, None, aim, aim - 0.4),)
    rows = {r.key: r for r in compare.residuals(_found(_mm(1.5)), made, done)}
    end = rows["end"]
    assert end.done == pytest.approx(made.canal.length.value - aim + 0.4)
    assert end.gap is not None and end.gap.value == pytest.approx(1.5 - end.planned.value)
    assert end.gap.low < end.gap.value < end.gap.high
    assert compare.stops(made, done) == (("trim", pytest.approx(-0.4)),)


def test_what_was_not_seen_has_no_gap(made: Plan) -> None:
    portal = made.canal.portals[0]
    name = f"{portal.direction} {portal.kind}"
    unseen = _found(_mm(1.0), portals=(PortalSeen(name, portal.z, Sight.NOT_SEEN),), beyond=Beyond(Sight.NOT_SEEN))
    rows = {r.key: r for r in compare.residuals(unseen, made)}
    assert rows[f"portal {portal.z:g}"].gap is None and rows[f"portal {portal.z:g}"].within is None
    assert rows["beyond"].came is None


def test_stops_of_presses_are_told_deeper_positive(made: Plan) -> None:
    step, act = next((i, a) for i, a in enumerate(made.protocol.acts) if isinstance(a, Press))
    aim = made.canal.depth(act.stop)
    done = (Done(step, step, 0.0, 1.0, 0.0, 1.0, None, aim, aim + 0.3),)
    assert compare.stops(made, done) == (("plugger stop", pytest.approx(0.3)),)


def test_the_whole_hand_is_learned_from_a_check(made: Plan) -> None:
    """Cone, carrier and the last press of the backfill as noted; end and top as they came out; acts without a depth teach nothing."""
    acts, depth = made.protocol.acts, made.canal.depth
    heat = next(i for i, a in enumerate(acts) if isinstance(a, Heat))
    inject = max(i for i, a in enumerate(acts) if isinstance(a, Inject))
    press = next(i for i, a in enumerate(acts) if i > inject and isinstance(a, Press))

    def at(step: int, noted: float | None) -> Done:
        aim = depth(acts[step].stop) if isinstance(acts[step], Heat | Press) else None
        return Done(step, step, 0.0, 1.0, 0.0, 1.0, None, aim, noted)

    done = (at(0, None), at(heat, depth(acts[heat].stop) + 0.5), at(inject, 12.0), at(press, 9.0))
    found = compare.against(_found(_mm(1.5)), made, done)
    rows = {r.key: r for r in found.residuals}
    assert rows["top"].done == 9.0 and rows["top"].came.value == pytest.approx(made.canal.length.value - 11.5)
    told = dict(compare.learned_from(found, made, done))
    assert told["carrier stop"] == pytest.approx(0.5) and "trim" not in told
    assert told["end"] == rows["end"].gap.value and told["top"] == rows["top"].gap.value
    unknown = compare.against(_found(_mm(1.5), basis="radiograph", notes=("the length filled is at least this",)), made)
    assert "top" not in {r.key for r in unknown.residuals}, "a film that does not show the top compares none"


def test_what_a_branch_holds_and_what_went_beyond_is_compared(made: Plan) -> None:
    portal = made.canal.portals[0]
    seen = PortalSeen(f"{portal.direction} {portal.kind}", portal.z, Sight.THERE, _mm(0.5))
    rows = {
        r.key: r
        for r in compare.residuals(_found(_mm(0.0), portals=(seen,), beyond=Beyond(Sight.THERE, _mm(0.7))), made)
    }
    assert rows[f"portal {portal.z:g}"].came == _mm(0.5) and rows["beyond"].came == _mm(0.7)


# ---- the plan laid over the film


def test_the_plan_lies_on_a_film_of_itself_turned_and_mirrored(made: Plan) -> None:
    lumen = made.lumen
    line = np.column_stack([-lumen.centre[:, 0], -lumen.centre[:, 2]]) / 0.05
    turn = np.radians(20)
    about = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    marks = (line[::-12] @ about.T) + np.array([150.0, 400.0])
    picture = np.zeros((420, 420), np.float32)
    straight = straighten(picture, marks, 0.05)
    found = lay_over(made.canal, lumen, straight, straight.station(marks[-1]))
    assert found.misfit < 0.1 and not found.poor
    assert found.stretch == pytest.approx(1.0, abs=0.03)
    middle = found.across(3.0).mean(axis=0)
    true = np.array([np.interp(3.0, lumen.z, c) for c in (line @ about.T + np.array([150.0, 400.0])).T])
    assert np.linalg.norm(middle - true) * 0.05 < 0.15


# ---- habits


@settings(deadline=None, max_examples=20)
@given(st.floats(-0.8, 0.8), st.integers(0, 10_000))
def test_a_habit_finds_its_mean_and_spread(mean: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    (found,) = habits.learned([[("trim", float(x))] for x in rng.normal(mean, 0.3, 120)])
    assert found.cases == 120
    assert abs(found.centre.value - mean) < 0.15
    assert 0.22 < found.spread < 0.42
    assert found.next_one.low < found.centre.low <= found.centre.high < found.next_one.high


def test_the_next_case_lands_within_its_interval_nine_times_in_ten() -> None:
    rng = np.random.default_rng(4)
    inside = []
    for _ in range(300):
        mean, spread = rng.normal(0, 0.4), rng.uniform(0.2, 0.6)
        cases = rng.normal(mean, spread, 16)
        (found,) = habits.learned([[("end", float(x))] for x in cases[:-1]])
        inside.append(found.next_one.low <= cases[-1] <= found.next_one.high)
    assert 0.85 <= np.mean(inside) <= 0.97


def test_residuals_of_one_case_count_once() -> None:
    (one,) = habits.learned([[("plugger stop", 0.25), ("plugger stop", 0.75)]])
    (other,) = habits.learned([[("plugger stop", 0.5)]])
    assert one == other


def test_before_the_first_case_the_belief_is_that_of_common_practice() -> None:
    fresh = habits.Habit.fresh("trim")
    assert fresh.centre.value == 0 and fresh.drift is None
    assert habits.of_events([{"habits": "damaged"}, None, {"habits": [["trim", float("nan")], ["trim"]]}]) == ()


def test_a_hand_that_changed_shows_after_twenty_cases() -> None:
    rng = np.random.default_rng(3)
    cases = [*rng.normal(0.0, 0.1, 15), *rng.normal(0.5, 0.1, 10)]
    (found,) = habits.learned([[("trim", float(x))] for x in cases])
    assert found.drift is not None and found.drift.low > 0.2 and found.drift.high < 0.8
    (steady,) = habits.learned([[("trim", float(x))] for x in rng.normal(0.0, 0.1, 40)])
    assert steady.drift is not None and steady.drift.low < 0 < steady.drift.high
    (few,) = habits.learned([[("trim", float(x))] for x in cases[:19]])
    assert few.drift is None


def test_a_habit_takes_no_nonsense() -> None:
    fresh = habits.Habit.fresh("trim")
    assert fresh.seen([]) is fresh
    with pytest.raises(ValueError, match="not a number"):
        fresh.seen([float("nan")])
    kept = habits.of_events([{"habits": [["trim", 0.2], ["trim", 99.0], ["trim", "0.3"], [3, 0.1]]}])
    assert [(h.name, h.latest) for h in kept] == [("trim", (0.2,))]


# ---- post and ferrule


@pytest.fixture(scope="module")
def canal() -> Canal:
    return casefile.demo_case().canals[2]


def test_a_post_leaves_five_millimetres_and_a_millimetre_of_dentine(canal: Canal) -> None:
    found = restoration.restoration(canal, canal.end)
    lumen = shaped(canal)
    for post in found.posts:
        if not post.works:
            continue
        assert post.left.value >= restoration.LEFT - 1e-9
        wall = np.interp(post.z, lumen.z, canal.native.minor / 2 + canal.native.wall)
        assert wall - post.diameter / 2 >= restoration.DENTINE - 1e-6
    assert found.best is not None and found.best.works


def test_a_thicker_post_is_never_longer(canal: Canal) -> None:
    lengths = [p.length.value for p in restoration.restoration(canal, canal.end).posts]
    assert all(a >= b - 1e-9 for a, b in itertools.pairwise(lengths))


@pytest.mark.parametrize(("height", "holds"), [(1.4, False), (1.5, None), (1.9, None), (2.0, True)])
def test_the_ferrule_warns_between_one_and_a_half_and_two(canal: Canal, height: float, holds: bool | None) -> None:
    told = {t.rule: t for t in restoration.restoration(canal, 0.5, ferrule=height).told}
    assert told["ferrule"].holds is holds


def test_a_filling_that_ends_below_the_post_leaves_a_gap(canal: Canal) -> None:
    found = restoration.restoration(canal, 0.5, filled_top=3.0)
    assert any(t.rule == "gap" and t.holds is False for t in found.told)
    with pytest.raises(ValueError, match="measure it again"):
        restoration.restoration(canal, 0.5, crown=40.0)
