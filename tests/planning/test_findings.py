"""Each finding comes when its limit is passed, not at it, and with the harm that belongs to it; a quiet plan has none.

A plan of the demo case is made quiet first, number by number; each test then changes the one number that its finding is about.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from canalwright.anatomy import Doubt
from canalwright.compaction.extrusion import Cause
from canalwright.fit import BEYOND
from canalwright.planning import Finding, Harm, Plan, findings
from canalwright.protocol import Heat
from canalwright.protocol.acts import TOUCH
from canalwright.quantities import Quantity
from canalwright.readiness import Item, Number, Readiness, Verdict

Found = dict[str, Finding]


def q(value: float, low: float | None = None, high: float | None = None) -> Quantity:
    return Quantity(value, value if low is None else low, value if high is None else high, "mm")


def tools(**changed: object) -> SimpleNamespace:
    told: dict[str, object] = {
        "aim_met": True, "pluggers": [SimpleNamespace(chance=0.95)] * 3,
        "carrier_reach": SimpleNamespace(z=np.array([3.0]), stopped_by="the canal's wall"),
    }  # fmt: skip
    return SimpleNamespace(**(told | changed))


def found(plan: Plan, top: SimpleNamespace | None = None, **changed: object) -> Found:
    made = findings.find(plan, None, tools(**changed), top or SimpleNamespace(below_post=None, z=10.0))  # type: ignore[arg-type]
    assert [f.harm for f in made] == sorted((f.harm for f in made), reverse=True)
    assert all(f.message and f.action for f in made)
    return {f.code: f for f in made}


@pytest.fixture(scope="module")
def quiet(plans: dict[str, Plan]) -> Plan:
    """A plan about which nothing is to be said."""
    plan = next(iter(plans.values()))
    canal = replace(plan.canal, notes=(), end=0.5)
    heat = replace(plan.heat, surface_rise=q(10.0), longest_activation=q(3.0), cem43=q(16.0))
    rounds = tuple(
        replace(
            r,
            activation=q(3.0),
            carrier_stop=q(6.0 + findings.practice.LEFT_BY_BITE),
            bite=q(2.0),
            plugger_stop=q(6.0 + TOUCH),
            front=q(canal.working_length - 2.0),
        )
        for r in (plan.rounds[0], *plan.rounds)
    )
    rounds = (replace(rounds[0], activation=q(2.5)), *rounds[1:])
    pluggers = tuple(
        replace(plan.pluggers[0], part=part, short_of_end=q(4.0)) for part in ("coronal", "middle", "apical")
    )
    portions = tuple(replace(p, bottom=q(5.0), needle_stop=q(4.0), resoften=q(0.5)) for p in plan.portions)
    acts = tuple(replace(a, seconds=9.0) if isinstance(a, Heat) else a for a in plan.protocol.acts)
    return replace(
        plan, canal=canal, heat=heat, rounds=rounds, pluggers=pluggers, portions=portions, protocol=type(plan.protocol)(acts),
        cone=replace(plan.cone, short=q(0.3), chance=q(0.5), tug_back=q(1.0)),
        fill=replace(plan.fill, root_ratio=q(0.1), portals=()),
        extrusion=replace(plan.extrusion, chance=q(0.05)), supposed=0.5,
    )  # fmt: skip


def test_at_every_limit_nothing_is_said(quiet: Plan) -> None:
    assert found(quiet) == {}


@pytest.mark.parametrize(
    ("changes", "code", "harm"),
    [
        ({"surface_rise": q(10.1)}, "surface-too-hot", Harm.DANGER),
        ({"surface_rise": q(9.0, 8.0, 10.1)}, "surface-may-heat", Harm.CAUTION),
        ({"cem43": q(16.1)}, "thermal-dose", Harm.DANGER),
        ({"cem43": q(16.0, 9.0, 16.1)}, "thermal-dose", Harm.CAUTION),
        ({"longest_activation": q(2.9)}, "activation-too-long", Harm.DANGER),
    ],
    ids=["too hot", "may heat", "dose", "dose perhaps", "too long"],
)
def test_heat(quiet: Plan, changes: dict[str, Quantity], code: str, harm: Harm) -> None:
    said = found(replace(quiet, heat=replace(quiet.heat, **changes)))
    assert {k: f.harm for k, f in said.items()} == {code: harm}


def test_the_longest_activation_is_said_with_what_to_keep_under(quiet: Plan) -> None:
    """What is planned (3.0 s) is named beside what would be sure; nothing is asked for that the plan does already or no hand can give."""

    def action(low: float, rise: Quantity, code: str) -> str:
        hot = replace(quiet.heat, surface_rise=rise, longest_activation=q(3.0, low, 3.5))
        return found(replace(quiet, heat=hot))[code].action

    assert action(2.49, q(12.0), "surface-too-hot").startswith("heat 2.4 s at most in each round, lower"), (
        "rounded to the safe side"
    )
    assert action(0.1, q(12.0), "surface-too-hot").startswith(
        "even 0.5 s, the shortest that a hand can give, may pass it"
    )
    assert action(3.0, q(12.0), "surface-too-hot") == "lower the set temperature or pause longer between rounds"
    may = action(2.4, q(9.0, 8.0, 10.1), "surface-may-heat")
    assert (
        may.startswith("the 3.0 s planned keep to it by the best estimate, but not in 95 of 100")
        and "heat 2.4 s at most" in may
    )


def test_the_most_harmful_comes_first(quiet: Plan) -> None:
    """Whatever part of the plan it is about: stress that breaks a root before a cone in doubt and an average."""
    bad = replace(
        quiet,
        supposed=0.9,
        cone=replace(quiet.cone, chance=q(0.2)),
        fill=replace(quiet.fill, root_ratio=q(1.2), root_level=4.0),
    )
    assert list(found(bad)) == ["root-stress", "cone-seat-doubtful", "rests-on-averages"]


def test_a_plunge_needs_its_time(quiet: Plan) -> None:
    def with_time(seconds: float) -> Found:
        acts = tuple(replace(a, seconds=seconds) if isinstance(a, Heat) else a for a in quiet.protocol.acts)
        return found(replace(quiet, protocol=type(quiet.protocol)(acts)))

    needed = (2.0 + findings.practice.LEFT_BY_BITE) / findings.practice.PLUNGE_SPEED
    assert set(with_time(needed)) == set(with_time(needed - 0.04)) == set()
    said = with_time(needed - 0.06)["quick-plunge"]
    assert said.harm is Harm.DOUBT and said.quantity == q(2.5), (
        "the activation of the first round, which the plunge is part of"
    )


@pytest.mark.parametrize(
    ("short", "chance", "tug", "said"),
    [
        (q(0.3, -0.75), q(0.5), q(1.0), {}),
        (q(0.3, -0.76), q(0.5), q(1.0), {"cone-beyond": Harm.CAUTION}),
        (q(0.3, BEYOND), q(0.5), q(1.0), {"cone-loose": Harm.CAUTION}),
        (q(0.3), q(0.49), q(1.0), {"cone-seat-doubtful": Harm.DOUBT}),
        (q(0.3), q(0.5), q(0.5, 0.2, 0.99), {"little-tug-back": Harm.DOUBT}),
    ],
    ids=["at the terminus", "beyond", "loose", "doubtful", "no tug-back"],
)
def test_the_cone(quiet: Plan, short: Quantity, chance: Quantity, tug: Quantity, said: dict[str, Harm]) -> None:
    made = found(replace(quiet, cone=replace(quiet.cone, short=short, chance=chance, tug_back=tug)))
    assert {k: f.harm for k, f in made.items()} == said


def test_pluggers_that_are_missing_or_bind(quiet: Plan) -> None:
    two = replace(quiet, pluggers=quiet.pluggers[:2])
    assert set(found(two, pluggers=[SimpleNamespace(chance=0.95)] * 2)) == {"pluggers-missing"}
    binds = [SimpleNamespace(chance=c) for c in (0.95, 0.94, 1.0)]
    said = found(quiet, pluggers=binds)["plugger-may-bind"]
    assert "middle plugger" in said.message and "94%" in said.message


def test_a_plugger_out_of_reach_is_told_by_the_deepest(quiet: Plan) -> None:
    pluggers = tuple(replace(p, short_of_end=q(s)) for p, s in zip(quiet.pluggers, (9.0, 7.5, 6.5), strict=True))
    said = found(replace(quiet, pluggers=pluggers), aim_met=False)["plugger-out-of-reach"]
    assert said.quantity == q(6.5) and said.harm is Harm.CAUTION


def test_a_press_that_does_not_get_through_the_surface(quiet: Plan) -> None:
    """The bite leaves the surface at 6.0 mm: a quarter of a millimetre is how well a stop is set, above it and below."""

    def with_stop(stop: float) -> Found:
        return found(replace(quiet, rounds=(*quiet.rounds[:-1], replace(quiet.rounds[-1], plugger_stop=q(stop)))))

    assert with_stop(6.25) == {}
    for stop, packs, missing in ((6.24, "0.2", "25%"), (6.0, "0.0", "50%"), (5.75, "0.0", "76%")):
        said = with_stop(stop)["press-hardly-reaches"]
        assert said.harm is Harm.DOUBT
        assert f"by {packs} mm, not by 0.5 mm" in said.message and f"{missing} of such presses" in said.message
        assert f"stop the carrier at {stop:.1f} mm" in said.action
    above = with_stop(5.7)["press-out-of-reach"]
    assert above.harm is Harm.CAUTION and "0.3 mm above" in above.message


def test_the_carrier_and_the_end(quiet: Plan) -> None:
    short = findings.practice.CLEARANCE_TO_END
    for extra, codes in ((0.0, set()), (0.1, {"carrier-out-of-reach"})):
        reach = SimpleNamespace(z=np.array([0.5 + short + extra]), stopped_by="a bend")
        assert set(found(quiet, carrier_reach=reach)) == codes
    last = replace(quiet.rounds[-1], front=q(quiet.canal.working_length - 2.1))
    said = found(replace(quiet, rounds=(*quiet.rounds[:-1], last)))["end-stays-cold"]
    assert said.harm is Harm.CAUTION and "2.1 mm" in said.message


def test_stress_in_the_root(quiet: Plan) -> None:
    for ratio, harm in ((q(0.5, 0.4, 1.0), Harm.CAUTION), (q(0.99), Harm.CAUTION), (q(1.0), Harm.DANGER)):
        fill = replace(quiet.fill, root_ratio=ratio, root_level=4.0)
        said = found(replace(quiet, fill=fill))["root-stress"]
        assert said.harm is harm
        assert f"{quiet.canal.depth(4.0):.1f} mm from the {quiet.canal.reference}" in said.message


@pytest.mark.parametrize(
    ("chance", "harm"),
    [(0.051, Harm.CAUTION), (0.5, Harm.CAUTION), (0.51, Harm.DANGER)],
    ids=["little", "half", "more"],
)
def test_gutta_percha_beyond_the_terminus(quiet: Plan, chance: float, harm: Harm) -> None:
    risk = replace(quiet.extrusion, chance=q(chance))
    assert found(replace(quiet, extrusion=risk))["beyond-the-terminus"].harm is harm


def test_side_branches_are_noted(plans: dict[str, Plan], quiet: Plan) -> None:
    branches = next((p.fill.portals for p in plans.values() if p.fill.portals), ())
    assert branches, "the demo case has a side branch"
    for doubt, action in (("", "its width decides"), ("its width is an average", "its width is an average")):
        fill = replace(quiet.fill, portals=(replace(branches[0], doubt=doubt),))
        said = found(replace(quiet, fill=fill))["side-branch"]
        assert (said.harm, said.action) == (Harm.NOTE, action)


def test_the_backfill(quiet: Plan) -> None:
    least = findings.practice.BELOW_POST_LEAST
    assert found(quiet, SimpleNamespace(below_post=least, z=10.0)) == {}
    assert set(found(quiet, SimpleNamespace(below_post=least - 0.1, z=10.0))) == {"short-below-post"}
    bare = replace(quiet, tray=replace(quiet.tray, needles=()))
    assert found(bare, SimpleNamespace(below_post=None, z=0.5)) == {}, "nothing to fill up to the end itself"
    assert set(found(bare, SimpleNamespace(below_post=None, z=0.6))) == {"no-needle"}
    high = replace(quiet, portions=tuple(replace(p, needle_stop=q(3.9)) for p in quiet.portions))
    assert found(high)["needle-short"].harm is Harm.DOUBT


def test_the_coldest_joint_is_named(quiet: Plan) -> None:
    first, *rest = quiet.portions
    cold = replace(quiet, portions=(replace(first, resoften=q(0.4)), *rest))
    assert found(cold)["cold-joint"].message.startswith(f"portion {first.number} softens only")
    if rest:
        colder = replace(cold, portions=(cold.portions[0], replace(rest[0], resoften=q(0.3)), *rest[1:]))
        assert found(colder)["cold-joint"].message.startswith(f"portion {rest[0].number} ")


def test_doubts_of_the_measurements_and_of_averages(quiet: Plan) -> None:
    noted = replace(quiet, canal=replace(quiet.canal, notes=(Doubt("taper", "odd", "measure again"),)))
    assert found(noted)["measurement"].harm is Harm.DOUBT
    leading = (("wall", 0.4), ("bone_flow", 0.3), ("width", 0.1), ("fourth", 0.05))
    said = found(replace(quiet, supposed=0.51, leading=leading))["rests-on-averages"]
    assert said.harm is Harm.NOTE and said.action == "what leads: dentine wall, bone flow, canal widths"


def test_a_thin_wall_and_one_cut_through(quiet: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    def with_wall(apical: float, above: float) -> Found:
        z = quiet.canal.native.z
        wall = np.where(z >= quiet.canal.end + 3.0, above, apical)
        monkeypatch.setattr(findings.shaping, "remaining_dentine", lambda canal: wall)
        return found(quiet)

    assert with_wall(0.2, 0.5) == {}, "near its end every root is thin"
    said = with_wall(0.2, 0.49)["thin-wall"]
    assert said.harm is Harm.CAUTION and "0.49 mm" in said.message
    assert set(with_wall(0.0, 0.49)) == {"wall-cut-through"}
    assert set(with_wall(1.0, -0.1)) == {"wall-cut-through"}


def test_the_deepest_round_is_held_against_the_longest_activation(quiet: Plan) -> None:
    first, last = (replace(quiet.rounds[i], activation=q(3.1)) for i in (0, -1))
    assert len(quiet.rounds) > 2
    assert set(found(replace(quiet, rounds=(*quiet.rounds[:-1], last)))) == {"activation-too-long"}
    assert found(replace(quiet, rounds=(first, *quiet.rounds[1:]))) == {}


def test_a_needle_for_another_purpose_does_not_backfill(quiet: Plan) -> None:
    others = tuple(replace(n, purpose="irrigation") for n in quiet.tray.needles)
    assert set(found(replace(quiet, tray=replace(quiet.tray, needles=others)))) == {"no-needle"}


def test_what_brings_a_plugger_into_reach_is_offered(quiet: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every change that helps is told, and where none does that is told."""
    for remedies, action in (
        (("a thinner one", "an elastic one"), "a thinner one; or an elastic one"),
        ((), "no thinner or elastic plugger and no larger file helps: shape or access first"),
    ):
        offered = tuple(SimpleNamespace(message=m) for m in remedies)
        monkeypatch.setattr(findings.fit, "remedies", lambda canal, pluggers, o=offered: o)
        assert found(quiet, aim_met=False)["plugger-out-of-reach"].action == action


def test_what_drives_gutta_percha_out_and_what_would_mend_it_are_told(quiet: Plan) -> None:
    causes = tuple(
        Cause(name, f"less {name}", q(chance), relief)
        for name, chance, relief in (("force", 0.1, 0.5), ("heat", 0.3, 0.3))
    )
    said = found(replace(quiet, extrusion=replace(quiet.extrusion, chance=q(0.6), causes=causes)))[
        "beyond-the-terminus"
    ]
    assert "what brings it there: force" in said.message and "less force would bring the chance to 0.10" in said.action
    for none in ((), (Cause("force", "less force", q(0.6), 0.0),)):
        bare = found(replace(quiet, extrusion=replace(quiet.extrusion, chance=q(0.6), causes=none)))[
            "beyond-the-terminus"
        ]
        assert "brings" not in bare.message and bare.action == "check cone fit and apical gauge"


@pytest.mark.parametrize(
    ("place", "least", "said"),
    [
        (3.0, 0.3, "thin-wall"),  # the part that is wedged and heated begins 3 mm from the end of the preparation
        (2.9, 0.3, None),
        (0.0, -0.1, "wall-cut-through"),  # the end itself counts, what lies apical to it is not shaped
        (-0.1, -0.1, None),
    ],
    ids=["body", "apical", "cut at the end", "past the end"],
)
def test_where_the_wall_counts(
    quiet: Plan, monkeypatch: pytest.MonkeyPatch, place: float, least: float, said: str | None
) -> None:
    z = quiet.canal.native.z
    at = int(np.argmin(np.abs(z - (quiet.canal.end + place))))
    assert z[at] == pytest.approx(quiet.canal.end + place)
    monkeypatch.setattr(
        findings.shaping, "remaining_dentine", lambda canal: np.where(np.arange(len(z)) == at, least, 1.0)
    )
    made = found(quiet)
    assert set(made) == ({said} if said else set())
    if said:
        assert f"{quiet.canal.depth(float(z[at])):.1f} mm from the {quiet.canal.reference}" in made[said].message


def test_only_the_first_plunge_is_judged_by_its_time(quiet: Plan) -> None:
    """Later rounds heat what is already warm; a plan without heat has no plunge at all."""
    heats = [i for i, act in enumerate(quiet.protocol.acts) if isinstance(act, Heat)]

    def with_short(which: int) -> Found:
        acts = list(quiet.protocol.acts)
        acts[heats[which]] = replace(acts[heats[which]], seconds=0.1)
        return found(replace(quiet, protocol=type(quiet.protocol)(tuple(acts))))

    assert set(with_short(0)) == {"quick-plunge"} and with_short(-1) == {}
    assert with_short(0)["quick-plunge"].message.startswith("0.10 s ")
    cold = tuple(act for act in quiet.protocol.acts if not isinstance(act, Heat))
    assert found(replace(quiet, protocol=type(quiet.protocol)(cold))) == {}


def test_readiness_comes_into_the_ranking_with_its_harm_and_its_number(quiet: Plan) -> None:
    items = tuple(
        Item(
            f"the {v.name.lower()}",
            v,
            "why",
            (Number("first", q(1.0)), Number("second", q(2.0))) if v.value % 2 else (),
            "do",
        )
        for v in Verdict
    )
    old = Finding(Harm.DOUBT, "old", "a", "b")
    made = findings.with_readiness(replace(quiet, findings=(old,)), Readiness(items))
    assert [(f.harm, f.code, f.quantity) for f in made.findings] == [
        (Harm.CAUTION, "readiness-the-not_ready", None),
        (Harm.DOUBT, "old", None),
        (Harm.DOUBT, "readiness-the-look", q(1.0)),
        (Harm.NOTE, "readiness-the-unknown", None),
    ]
    assert made.readiness == Readiness(items)
