"""Protects: a plan holds together, keeps the rules of the trade, answers to what is changed, and says what is doubtful."""

import itertools
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from canalwright import planning
from canalwright.casefile import Case
from canalwright.instruments import Tray
from canalwright.planning import Choices, Harm, Plan, PlanError, practice
from canalwright.planning.doubt import Draws
from canalwright.quantities import Quantity
from canalwright.report import digest

FEW = Choices(draws=64)


def quantities(item: Any) -> Iterator[Quantity]:
    """Every quantity in a tree of dataclasses and tuples."""
    if isinstance(item, Quantity):
        yield item
    elif isinstance(item, tuple):
        for part in item:
            yield from quantities(part)
    elif is_dataclass(item) and not isinstance(item, type):
        for field in fields(item):
            yield from quantities(getattr(item, field.name))


def test_every_number_has_an_interval_around_it(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        found = list(quantities((plan.cone, plan.pluggers, plan.rounds, plan.portions, plan.heat, plan.reaches)))
        assert len(found) > 40
        for quantity in found:
            assert quantity.low <= quantity.value <= quantity.high
            assert 0 <= quantity.supposed <= 1
        predicted = [q for q in found if q.source.detail != "set by the plan"]
        assert sum(q.low < q.high for q in predicted) > 0.8 * len(predicted)


def test_the_rules_of_the_trade_hold(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        tips = [p.plugger.profile.tip for p in plan.pluggers]
        assert tips == sorted(tips, reverse=True)
        assert len(set(tips)) == len(tips), "each plugger larger than the next"
        for planned in plan.pluggers:
            assert planned.stop.value <= planned.reach.value + 1e-6, "no stop deeper than the passive reach"
        assert plan.pluggers[-1].short_of_end.value <= 5.0 + 1e-6
        stops = [r.carrier_stop.value for r in plan.rounds]
        assert stops == sorted(stops)
        for r in plan.rounds:
            assert r.plugger_stop.value <= max(p.stop.value for p in plan.pluggers if p.plugger == r.plugger) + 0.01


def test_findings_are_ranked_by_harm(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        harms = [f.harm for f in plan.findings]
        assert harms == sorted(harms, reverse=True)
        assert all(f.message and f.action for f in plan.findings)


def test_the_same_input_gives_the_same_plan(case: Case, tray: Tray) -> None:
    canal = case.canals[0]
    first, second = (planning.plan(canal, tray, FEW) for _ in range(2))
    assert first.heat == second.heat
    assert first.cone.table == second.cone.table


def test_more_heat_is_hotter_and_a_thinner_wall_too(case: Case, tray: Tray) -> None:
    canal = case.canals[2]
    base = planning.plan(canal, tray, replace(FEW, activation=3.0))
    longer = planning.plan(canal, tray, replace(FEW, activation=5.0))
    thinner = planning.plan(canal, tray, replace(FEW, activation=3.0, wall_change=-0.4))
    assert longer.heat.surface_rise.value > base.heat.surface_rise.value
    assert thinner.heat.surface_rise.value > base.heat.surface_rise.value
    assert thinner.heat.longest_activation.value < base.heat.longest_activation.value


def test_overheating_is_a_danger(case: Case, tray: Tray) -> None:
    plan = planning.plan(case.canals[0], tray, replace(FEW, activation=8.0, temperature=250.0, wall_change=-0.3))
    assert plan.worst is Harm.DANGER
    assert {"surface-too-hot", "activation-too-long"} <= {f.code for f in plan.findings}


def test_no_plugger_near_enough_is_found_with_what_would_change_it(case: Case, tray: Tray) -> None:
    thick = replace(tray, pluggers=tuple(p for p in tray.pluggers if p.profile.tip >= 0.9))
    plan = planning.plan(case.canals[0], thick, FEW)
    finding = next(f for f in plan.findings if f.code == "plugger-out-of-reach")
    assert "mm tip gets within" in finding.action or "finish with" in finding.action


def test_trim_moves_the_seat_deeper_never_shallower(plans: dict[str, Plan]) -> None:
    """Cutting the tip off lets no narrower part go first: the new tip seats at the same place or more coronal."""
    for plan in plans.values():
        seats = [row.seat.value for row in plan.cone.table]
        assert all(b <= a + 0.02 for a, b in itertools.pairwise(seats))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"temperature": 20.0}, "temperature = 20.0 deg C: allowed 100 to 400"),
        ({"activation": 60.0}, "activation = 60.0 s: allowed"),
        ({"cone": "none such"}, "is not on tray"),
        ({"carrier": "none such"}, "is not on the tray"),
        ({"sealer": "none such"}, "is not on tray"),
        ({"pluggers": ("a", "b", "c")}, "plugger 'a' is not on tray"),
        ({"trim": 11.0}, "trim = 11.0 mm: allowed"),
    ],
)
def test_impossible_choices_are_refused_in_one_line(
    case: Case, tray: Tray, change: dict[str, Any], message: str
) -> None:
    with pytest.raises(PlanError, match=message) as caught:
        planning.plan(case.canals[0], tray, replace(FEW, **change))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", ["cones", "pluggers", "carriers"])
def test_an_empty_shelf_is_named(case: Case, tray: Tray, kind: str) -> None:
    with pytest.raises(PlanError, match=f"no {kind} on it"):
        planning.plan(case.canals[0], replace(tray, **{kind: ()}), FEW)


def test_the_story_fills_the_canal(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        story = planning.simulate(plan)
        assert story.heat.time[-1] == pytest.approx(plan.protocol.seconds, abs=0.3)
        assert story.heat.surface_rise == pytest.approx(plan.heat.surface_rise.value, rel=0.02)
        assert story.compaction.ledger is not None


def test_a_preview_answers_as_the_plan_will(case: Case, tray: Tray) -> None:
    """The quick answer under the hand is within a fifth of the final word, and follows every control."""
    canal = case.canals[2]
    base = planning.plan(canal, tray, FEW)
    for change in (
        {"activation": 3.0},
        {"temperature": 150.0},
        {"wall_change": -0.3},
        {"trim": 1.0},
        {"rounds": 4},
        {"force": 30.0},
    ):
        choices = replace(FEW, **change)
        quick = planning.preview(base, choices)
        final = planning.plan(canal, tray, planning.planner._as_planned(base, choices))
        assert quick.heat.surface_rise.value == pytest.approx(final.heat.surface_rise.value, rel=0.2)
        assert quick.cone.seat.value == pytest.approx(final.cone.seat.value)
        assert len(quick.rounds) == len(final.rounds)
        assert [p.plugger for p in quick.pluggers] == [p.plugger for p in final.pluggers]


def test_a_preview_keeps_the_rounds_that_the_planner_chose(case: Case, tray: Tray) -> None:
    """The planner may add rounds to spare the root; a moved control must not quietly take them away again."""
    for canal in case.canals:
        base = planning.plan(canal, tray, FEW)
        assert len(planning.preview(base, replace(FEW, force=25.0)).rounds) == len(base.rounds)


def test_every_chance_has_an_interval(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        for quantity in (plan.extrusion.chance, *(row.chance for row in plan.cone.table)):
            assert 0 <= quantity.low <= quantity.value <= quantity.high <= 1


def test_a_plugger_that_stays_above_the_surface_is_told(case: Case, tray: Tray) -> None:
    """With thick pluggers only, the last press ends in the air: the plan says so, and the backfill starts at the true surface."""
    thick = replace(tray, pluggers=tuple(p for p in tray.pluggers if p.profile.tip >= 1.0))
    plan = planning.plan(case.canals[0], thick, FEW)
    assert "press-out-of-reach" in {f.code for f in plan.findings}
    if plan.portions:
        assert plan.portions[0].bottom.value >= plan.rounds[-1].plugger_stop.value + 0.3


def test_pluggers_chosen_by_hand_stop_where_the_canal_lets_them(plans: dict[str, Plan]) -> None:
    plan = plans["distal"]
    names = [p.plugger.name for p in plan.pluggers]
    made = planning.preview(plan, replace(plan.choices, pluggers=(names[0], names[1], names[1])))
    assert [p.plugger.name for p in made.pluggers] == [names[0], names[1], names[1]]
    for chosen in made.pluggers:
        assert chosen.stop.value <= chosen.reach.value + 1e-6, "no stop deeper than the passive reach"
    with pytest.raises(PlanError, match="plugger 'none' is not on tray"):
        planning.preview(plan, replace(plan.choices, pluggers=(names[0], names[1], "none")))


def test_a_preview_needs_a_plan_with_its_workings(plans: dict[str, Plan]) -> None:
    bare = replace(plans["distal"], workings=None)
    with pytest.raises(ValueError, match="made by `plan`"):
        planning.preview(bare, FEW)


def test_a_sealer_is_taken_by_its_name_and_a_tray_may_have_none(tray: Tray) -> None:
    named = tray.sealers[-1]
    assert planning.planner.sealer_of(tray, Choices(sealer=named.name)) is named
    assert planning.planner.sealer_of(replace(tray, sealers=()), Choices()) is None
    with pytest.raises(PlanError, match="it has none"):
        planning.planner.sealer_of(replace(tray, sealers=()), Choices(sealer="any"))


def test_without_a_needle_there_is_no_backfill_and_it_is_said(case: Case, tray: Tray) -> None:
    made = planning.plan(case.canals[0], replace(tray, needles=()), FEW)
    assert made.portions == () and "no-needle" in {f.code for f in made.findings}


def test_how_far_a_plan_is_is_told_as_a_share_that_only_grows(case: Case, tray: Tray) -> None:
    """From nothing to nearly all, each drawn canal counted, and the plan is the same for it."""
    told: list[tuple[str, float]] = []
    made = planning.plan(case.canals[0], tray, FEW, step=lambda doing, share: told.append((doing, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[0] == 0 and 0.9 < shares[-1] < 1
    assert len({doing for doing, _ in told}) == 5
    assert made.workings is not None
    heated = sum(doing == "heating the drawn canals" for doing, _ in told)
    assert heated in (n := made.workings.draws.few.size, 2 * n)
    assert digest(made) == digest(planning.plan(case.canals[0], tray, FEW))


def test_another_force_draws_all_else_the_same(case: Case) -> None:
    """A preview of another force keeps tools and fits: nothing that they rest on may change with it."""
    canal, other = case.canals[1], replace(FEW, force=33.0)
    first, fresh = Draws.of(canal, FEW), Draws.of(canal, other)
    pressed = first.pressed(other)
    assert np.array_equal(pressed.sample.values, fresh.sample.values) and np.array_equal(
        pressed.few.values, fresh.few.values
    )
    same = [name for name in first.sample.readings if np.array_equal(first.sample[name], fresh.sample[name])]
    assert set(first.sample.readings) - set(same) == {"force"}


def test_the_interval_of_the_longest_activation_says_the_same_as_that_of_the_rise(plans: dict[str, Plan]) -> None:
    """Whoever keeps to what is said to be sure is not warned: planned seconds within the lower end go with a rise within the limit."""
    for plan in plans.values():
        planned, heat = plan.rounds[-1].activation.value, plan.heat
        if (
            abs(heat.surface_rise.high - 10.0) > 0.5
        ):  # the rise of the pause after the last round may be a little higher
            assert (heat.longest_activation.low > planned) == (heat.surface_rise.high < 10.0)


def test_a_portion_is_packed_by_the_widest_plugger_that_is_loose_there(plans: dict[str, Plan]) -> None:
    for plan in plans.values():
        limits = {p.plugger.name: p.stop.value for p in plan.pluggers}
        for portion in plan.portions:
            loose = [
                p.plugger for p in plan.pluggers if limits[p.plugger.name] >= portion.top.value + practice.SETTLE - 1e-6
            ]
            assert portion.plugger.name == (loose[0] if loose else plan.pluggers[-1].plugger).name


def test_as_many_rounds_as_the_planner_chose_are_as_short_when_they_are_asked_for(case: Case, tray: Tray) -> None:
    """Where no number of rounds spares the root surface, shorter activations are tried, whoever set the number."""
    canal, few = case.canals[0], FEW
    free = planning.plan(canal, tray, few)
    asked = planning.plan(canal, tray, replace(few, rounds=len(free.rounds)))
    assert asked.rounds[0].activation.value == free.rounds[0].activation.value
