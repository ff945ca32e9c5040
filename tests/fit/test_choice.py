"""Protects: which cone and which pluggers are chosen, why, and what is offered where none gets there."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright import fit
from canalwright.fit.pluggers import LEAST_MARGIN, MARGIN, NEAREST, WITHIN
from canalwright.instruments import Cone, Plugger, Profile
from canalwright.quantities import Reading, Shape, draw
from tests.fit.canals import canal, passage

ERRORS = {
    "width": Reading(0.0, 0.02, "mm"),
    "curve": Reading(1.0, 0.1, "", least=0.3),
    "file": Reading(0.0, 0.02, "mm", shape=Shape.UNIFORM),
    "length": Reading(20.0, 0.25, "mm"),
    "cone": Reading(0.0, 1.0, "", shape=Shape.UNIFORM),
}
CONES = [
    Cone(f"{size}/{taper:.2f}", Profile.uniform(size / 100, taper), size, tolerance=0.05)
    for size in (20, 25, 30, 35, 40)
    for taper in (0.02, 0.04, 0.06)
]
PLUGGERS = [Plugger(f"{tip:.1f}", Profile.uniform(tip, 0.02)) for tip in (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.1)]


@pytest.fixture(scope="module")
def drawn():
    one = canal(errors=ERRORS, size=30, taper=0.06, radius=15.0, straight=8.0)
    sample = draw(ERRORS, 255, 3)
    return one, fit.Passage.draws(one, sample), sample


def test_passage_rows_follow_the_readings(drawn):
    one, lane, sample = drawn
    assert lane.draws_count == 256
    assert (lane.length == sample["length"]).all()
    above = lane.z > 2
    cut = np.maximum(0.30 + 0.06 * (lane.z - 0.5), 0.0)
    expected = np.maximum(one.native.minor + sample["width"][:, None], cut + sample["file"][:, None])
    assert np.allclose(lane.minor[:, above], expected[:, above])
    single = fit.Passage.of(one)
    assert np.allclose(single.minor, lane.nominal.minor)
    assert single.orifice == one.orifice


def test_passage_refuses_shapes_that_do_not_agree(drawn):
    _, lane, _ = drawn
    with pytest.raises(ValueError, match=r"curve|minor has shape"):
        replace(lane, curve=np.ones(2))
    with pytest.raises(ValueError, match="grow coronally"):
        replace(lane, z=lane.z[::-1])
    with pytest.raises(ValueError, match="positive"):
        replace(lane, minor=lane.minor * 0)


def test_best_cone_weighs_chance_grip_and_cutting(drawn):
    one, lane, sample = drawn
    ranked = fit.choose_cone(CONES, lane, scores=sample["cone"])
    usable = [f for f in ranked if f.usable]
    assert ranked[: len(usable)] == tuple(usable)
    worth = [f.chance + 0.01 * np.median(f.tug_back) - 0.1 * f.trim.length for f in usable]
    assert worth[1:] == sorted(worth[1:], reverse=True)
    assert worth[0] > max(worth) - 0.05
    best = ranked[0]
    assert best.chance >= max(f.chance for f in usable) - 0.2
    assert abs(best.trim.median - one.end) <= 0.1
    again = fit.seat(best.cone.profile, lane.z, lane.minor, offset=best.offset, trim=best.trim.length)
    assert (best.seats == again).all()


def test_cone_that_was_made_for_the_file_beats_one_that_must_be_cut_to_it(drawn):
    """All errors alike, the 30/0.06 cone goes before the 20/0.06 cone cut to 0.30 mm."""
    _, lane, sample = drawn
    assert fit.choose_cone(CONES, lane, scores=sample["cone"])[0].cone.name == "30/0.06"


@pytest.mark.parametrize("seed", range(6))
def test_of_cones_that_seat_about_as_surely_the_one_cut_least_is_taken(drawn, seed):
    """A thin cone made more exactly (ISO 6877: 0.05 mm to size 25, 0.07 from 30 on) seats a little surer once it is cut; no choice of
    draws makes it the master cone of a 35/0.06 canal."""
    one = canal(errors=ERRORS, size=35, taper=0.06, radius=15.0, straight=8.0)
    sample = draw(ERRORS, 255, seed)
    cones = [
        Cone(f"{s}/0.06", Profile.uniform(s / 100, 0.06), s, tolerance=0.05 if s <= 25 else 0.07) for s in (25, 35)
    ]
    first, second = fit.choose_cone(cones, fit.Passage.draws(one, sample), scores=sample["cone"])
    assert (first.cone.size, second.cone.size) == (35, 25)
    assert first.trim.length < second.trim.length - 1.0


def test_a_cone_that_seats_clearly_surer_is_cut_for_it():
    one = canal(errors=ERRORS, size=35, taper=0.06, radius=15.0, straight=8.0)
    sample = draw(ERRORS, 255, 0)
    exact = Cone("exact", Profile.uniform(0.33, 0.06), 35, tolerance=0.02)
    whole = Cone("whole", Profile.uniform(0.37, 0.06), 35, tolerance=0.07)
    first, second = fit.choose_cone([whole, exact], fit.Passage.draws(one, sample), scores=sample["cone"])
    assert first.cone is exact and first.trim.length == 0.2 and second.usable and second.trim.length == 0.0


def test_a_gauged_cone_has_a_better_chance(drawn):
    _, lane, sample = drawn
    loose = fit.choose_cone(CONES, lane, scores=sample["cone"])[0]
    gauged = fit.choose_cone([loose.cone], lane, scores=sample["cone"], half_widths={loose.cone.name: 0.01})[0]
    assert gauged.chance > loose.chance


def test_unusable_cones_say_why(drawn):
    _, lane, _ = drawn
    wide = fit.choose_cone([Cone("80/0.02", Profile.uniform(0.8, 0.02))], lane)[0]
    assert "too wide" in wide.reason
    thin = fit.choose_cone([Cone("10/0.00", Profile.uniform(0.1, 0.0))], lane)[0]
    assert "too thin" in thin.reason
    short = fit.choose_cone([replace(CONES[4], length=18.0)], lane)[0]
    assert "too short" in short.reason


def _judged(tip: float, taper: float = 0.02, length: float = 28.0, **asked) -> fit.ConeFit:
    """One cone in a lumen of 0.30 mm + 0.05 mm/mm, 20 mm long: held at its tip, which then stands at (d - 0.30) / 0.05."""
    lane = passage(0.30 + 0.05 * np.arange(131) * 0.1)
    return fit.choose_cone(
        [Cone("one", Profile.uniform(tip, taper), 30, length=length, tolerance=0.05)], lane, **asked
    )[0]


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        ({"tip": 0.324}, ""),  # 0.48 mm short of the end
        ({"tip": 0.326}, "stops 0.5 mm short: too wide"),
        ({"tip": 0.34, "target": 0.5}, ""),
        ({"tip": 0.34, "within": 1.0}, ""),
        ({"tip": 0.36, "target": 0.5}, "stops 0.7 mm short: too wide"),
        ({"tip": 0.05, "taper": 0.025}, "passes the end even with 8.0 mm cut off: too thin"),
        ({"tip": 0.25, "taper": 0.04, "most_trim": 1.0}, ""),  # cut to 0.29 mm: its body is held 0.25 mm past the end
        ({"tip": 0.25, "taper": 0.04, "most_trim": 0.5}, "passes the end even with 0.5 mm cut off: too thin"),
        ({"tip": 0.30, "length": 22.0}, ""),  # 20 mm of canal and 2 mm to hold it by
        ({"tip": 0.30, "length": 21.9}, "too short: 21.9 mm left after trimming, 22.0 mm needed"),
        ({"tip": 0.26, "taper": 0.04, "length": 22.5}, "too short: 21.5 mm left"),  # 1.0 mm is cut off
        ({"tip": 0.325, "length": 21.5, "target": 0.5}, ""),
    ],
    ids=[
        "wide enough",
        "too wide",
        "another target",
        "another limit",
        "too wide for it",
        "never thick enough",
        "thin",
        "too thin",
        "long enough",
        "short",
        "cut short",
        "target",
    ],
)
def test_what_speaks_against_a_cone(asked, reason):
    judged = _judged(**asked)
    assert judged.reason.startswith(reason) and judged.usable == (not reason) == (not judged.reason)


def test_a_cone_is_drawn_within_its_own_tolerance():
    lane = passage(np.tile(0.30 + 0.05 * np.arange(131) * 0.1, (3, 1)))
    cone = Cone("one", Profile.uniform(0.30, 0.02), 30, tolerance=0.05)
    (drawn,) = fit.choose_cone([cone], lane, scores=[0.0, 1.0, -0.1])
    assert drawn.offset == pytest.approx([0.0, 0.05, -0.005])
    assert drawn.seats == pytest.approx([0.0, 1.0, -0.25], abs=1e-9) and drawn.chance == 0.5
    (gauged,) = fit.choose_cone([cone], lane, scores=[0.0, 1.0, -0.1], half_widths={"one": 0.01})
    assert gauged.offset == pytest.approx([0.0, 0.01, -0.001])


def test_three_pluggers_meet_their_aims(drawn):
    one, lane, sample = drawn
    choice = fit.choose_pluggers(PLUGGERS, lane, scores=sample["cone"])
    assert [f.part for f in choice.chosen] == ["coronal", "middle", "apical"]
    tips = [f.plugger.profile.tip for f in choice.chosen]
    assert tips == sorted(tips, reverse=True)
    assert len(set(tips)) == 3
    assert choice.within_reach
    assert choice.apical.stop <= one.end + WITHIN + 1e-9
    for f in choice.chosen:
        assert f.meets
        assert f.stop >= max(float(f.reach.z[0]) + LEAST_MARGIN, one.end + NEAREST) - 1e-9
        assert f.margin == pytest.approx(f.stop - f.reach.z[0])
        assert f.chance == f.reach.chance(f.stop)
    wider = [p for p, r in choice.reaches if p.profile.tip > choice.apical.plugger.profile.tip]
    assert all(fit.reach_of(p, lane.nominal).z[0] + LEAST_MARGIN > one.end + WITHIN for p in wider), (
        "a wider plugger would have reached the last 5 mm"
    )


def test_less_than_the_usual_margin_is_said():
    """A plugger that binds 4.5 mm from the end stops at 5.0, not at 5.5."""
    lane = fit.Passage.of(canal(size=30, taper=0.04, end=0.5, taper_native=0.02))
    choice = fit.choose_pluggers([Plugger("0.48", Profile.uniform(0.48, 0.0))], lane)
    assert choice.apical.reach.z[0] == pytest.approx(5.0, abs=0.02)
    assert choice.apical.stop == pytest.approx(5.5)
    assert choice.apical.margin < MARGIN
    assert "usual 1 mm" in choice.apical.reason


def test_none_within_reach_and_each_remedy_keeps_its_word():
    one = canal(size=25, taper=0.04, radius=9.0, straight=7.0, taper_native=0.02)
    few = [Plugger("0.6", Profile.uniform(0.6, 0.03)), Plugger("0.8", Profile.uniform(0.8, 0.03))]
    choice = fit.choose_pluggers(few, fit.Passage.of(one))
    assert not choice.within_reach
    assert "asks for" in choice.apical.reason
    offered = fit.remedies(one, few)
    assert {r.kind for r in offered} == {"thinner plugger", "elastic plugger", "more shape"}
    for remedy in offered:
        changed = one if remedy.file is None else replace(one, file=remedy.file)
        got = fit.reach_of(remedy.plugger, fit.Passage.of(changed))
        assert got.z[0] - one.end == pytest.approx(remedy.short_of_end)
        assert remedy.short_of_end <= WITHIN - LEAST_MARGIN + 1e-9
        assert "mm of the end" in remedy.message
    shape = next(r for r in offered if r.kind == "more shape")
    assert shape.removed > 0
    assert shape.wall is not None
    assert fit.remedies(one, []) == ()


def test_no_pluggers_is_an_error(drawn):
    with pytest.raises(ValueError, match="no plugger"):
        fit.choose_pluggers([], drawn[1])


def test_warming_up_compiles_what_is_used_later(drawn):
    from canalwright.fit import _rigid, _seat

    fit.warm_up()
    before = len(_seat.seats.signatures), len(_rigid.reaches.signatures)
    fit.reach_of(PLUGGERS[0], drawn[1])
    fit.seat(CONES[0].profile, drawn[1].z, drawn[1].minor)
    assert (len(_seat.seats.signatures), len(_rigid.reaches.signatures)) == before
