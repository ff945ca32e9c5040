"""Protects: reach against closed forms, a linear-programming reference, and the laws it must obey."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import fit
from canalwright.fit.passage import Passage
from canalwright.fit.reach import CURVE, END, LENGTH, ORIFICE, PRECISION, WIDTH
from canalwright.instruments import Carrier, File, Needle, Plugger, Profile
from tests.fit.canals import canal, centreline, passage
from tests.fit.reference import bent, pose_at

Z = np.arange(131) * 0.1
QUICK = settings(max_examples=40, deadline=None)
GIVE = 2 * PRECISION + 0.002


@pytest.mark.parametrize("seed", range(6))
def test_reach_in_random_curves_agrees_with_linear_programming(seed):
    """72 directions overstate the room by 0.1 % of it; stations lie 0.1 mm apart: 0.12 mm of depth together."""
    rng = np.random.default_rng(seed)
    centre, minor = bent(rng), 0.35 + 0.05 * Z
    profile = Profile.uniform(float(rng.choice([0.4, 0.5])), 0.03)
    found = fit.reach(profile, passage(minor, centre=centre)).z[0]
    bound = fit.seat(profile, Z, minor)[0]
    low, high = int(np.ceil(max(bound, 0) * 10)), 125
    while high > low:
        middle = (low + high) // 2
        low, high = (low, middle) if pose_at(middle, minor, centre, profile)[0] <= 0 else (middle + 1, high)
    assert found == pytest.approx(Z[low], abs=0.12)


@pytest.mark.parametrize("seed", range(4))
def test_the_instrument_at_its_reach_really_lies_inside_the_lumen(seed):
    """In space: no point of its surface is farther from the centreline than the lumen's radius there (0.003 mm)."""
    rng = np.random.default_rng(100 + seed)
    centre, minor, profile = bent(rng), 0.35 + 0.05 * Z, Profile.uniform(0.45, 0.02)
    index = int(np.ceil(fit.reach(profile, passage(minor, centre=centre)).z[0] * 10 + 0.2))
    margin, (c, e, u, v, x) = pose_at(index, minor, centre, profile)
    assert margin <= 1e-3
    along = np.linspace(0, c[-1] @ e - 0.3, 120)
    axis = along[:, None] * e + (x[0] + x[2] * along)[:, None] * u + (x[1] + x[3] * along)[:, None] * v
    fine = np.linspace(0, len(c) - 1, 20 * len(c))
    line = np.column_stack([np.interp(fine, np.arange(len(c)), c[:, i]) for i in range(3)])
    width = np.interp(fine, np.arange(len(c)), minor[index:])
    for angle in np.arange(16) * np.pi / 8:
        skin = axis + (profile(along) / 2)[:, None] * (np.cos(angle) * u + np.sin(angle) * v)
        distance = np.linalg.norm(skin[:, None] - line[None], axis=2) - width / 2
        # The flat tip's rim pokes out of the tip's own section where the canal turns: judge above it.
        assert distance.min(axis=1)[2:].max() <= 0.003


def test_rod_in_an_arc_of_a_tube():
    """Sagitta: a rod d in a tube D bent to R passes while R (1 - cos(L / 2R)) <= D - d, L being the arc's length.

    The whole rod as a rectangle in the annulus allows sqrt((R + D/2)^2 - (R - D/2 + d)^2) for half its length: a
    little more.
    """
    radius, tube, rod = 10.0, 0.8, 0.5
    centre = centreline(Z, radius, 0.0)
    found = 13 - fit.reach(Profile((0.0,), (rod,)), passage(np.full(131, tube), centre=centre)).z[0]
    arc = 2 * radius * np.arccos(1 - (tube - rod) / radius)
    chord = 2 * np.sqrt((radius + tube / 2) ** 2 - (radius - tube / 2 + rod) ** 2)
    assert found == pytest.approx(arc, abs=0.03)
    assert 2 * radius * np.sin(found / 2 / radius) <= chord


def test_straight_cone_is_a_matter_of_width():
    """Plugger d in a canal D + T z stops at (d - D) / T whether it may bend or not."""
    lane = passage(0.30 + 0.04 * Z)
    for elastic in (False, True):
        got = fit.reach(Profile((0.0,), (0.50,)), lane, elastic=elastic, strain_limit=0.02)
        assert got.z[0] == pytest.approx(5.0, abs=0.011)
        assert got.code[0] == WIDTH
        assert "width of the canal" in got.stopped_by


def test_what_stops_it_is_named():
    lane = passage(0.30 + 0.04 * Z, end=0.5)
    assert fit.reach(Profile((0.0,), (0.2,)), lane).code[0] == END
    assert fit.reach(Profile((0.0,), (0.9,)), lane).code[0] == ORIFICE
    short = fit.reach(Profile((0.0,), (0.2,)), lane, longest=16.0)
    assert (short.code[0], short.z[0]) == (LENGTH, 4.0)
    curved = passage(0.30 + 0.04 * Z, centre=centreline(Z, 8.0, 7.0))
    got = fit.reach(Profile((0.0,), (0.40,)), curved)
    assert got.code[0] == CURVE
    assert got.z[0] <= got.station[0] <= 13


def test_elastic_instrument_is_held_by_strain():
    """Limit e, diameter d: held by an arc of R < d / (2 e) that the play can't ease; a higher limit lets it by."""
    lane = passage(np.full(131, 0.52), centre=centreline(Z, 6.0, 7.0))
    rod = Profile((0.0,), (0.50,))
    held = fit.reach(rod, lane, elastic=True, strain_limit=0.02)
    free = fit.reach(rod, lane, elastic=True, strain_limit=0.05)
    assert held.code[0] == CURVE
    assert held.z[0] == pytest.approx(6.0, abs=1.2)
    assert free.z[0] == pytest.approx(0.0, abs=0.05)


def test_oval_lumen_lets_a_stiff_instrument_lean_along_its_length():
    """Bent in the plane of the greatest width an oval gives more room than bent across it."""
    minor, centre = 0.35 + 0.03 * Z, centreline(Z, 10.0, 7.0)
    across = passage(minor, major=1.8 * minor, centre=centre)
    along = Passage(**{**vars(across), "axis": np.tile([1.0, 0.0, 0.0], (131, 1))})
    rod = Profile.uniform(0.4, 0.02)
    assert fit.reach(rod, along).z[0] < fit.reach(rod, across).z[0] - 0.3
    assert fit.reach(rod, across).z[0] == pytest.approx(fit.reach(rod, passage(minor, centre=centre)).z[0], abs=GIVE)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(0.1, 0.6), st.floats(1.0, 4.0), st.floats(0.02, 0.98), st.floats(0, 2 * np.pi), st.floats(0, 2 * np.pi)
)
def test_play_in_an_oval_is_safe(b, oval, share, at, out):
    """A disc of radius r centred anywhere in the safe ellipse stays inside the oval."""
    a, r = b * oval, b * share
    play, long = b - r, np.sqrt((b - r) ** 2 + (oval**2 - 1) * b * b * (1 - r / b))
    x, y = long * np.cos(at) + r * np.cos(out), play * np.sin(at) + r * np.sin(out)
    assert (x / a) ** 2 + (y / b) ** 2 <= 1 + 1e-9


def curved_passage(seed, *, grow=0.0, curve=1.0, oval=1.0):
    rng = np.random.default_rng(seed)
    centre = bent(rng)
    minor = rng.uniform(0.25, 0.45) + rng.uniform(0.02, 0.07) * Z + grow
    return passage(minor, major=oval * minor, centre=centre, curve=np.array([curve]))


TOOLS = st.builds(Profile.uniform, st.floats(0.3, 0.7), st.floats(0.0, 0.05))
SEEDS = st.integers(0, 10_000)
BEND = st.booleans()


@QUICK
@given(SEEDS, TOOLS, st.floats(0.0, 0.2), st.floats(1.0, 2.0), BEND)
def test_wider_lumen_never_reduces_reach(seed, tool, grow, oval, elastic):
    before, after = (
        fit.reach(tool, curved_passage(seed, grow=g, oval=oval), elastic=elastic, strain_limit=0.02)
        for g in (0.0, grow)
    )
    assert after.z[0] <= before.z[0] + GIVE


@QUICK
@given(SEEDS, TOOLS, st.floats(0.0, 0.15), BEND)
def test_thicker_instrument_never_gets_deeper(seed, tool, more, elastic):
    lane = curved_passage(seed)
    thin = fit.reach(tool, lane, elastic=elastic, strain_limit=0.02)
    thick = fit.reach(tool, lane, offset=more, elastic=elastic, strain_limit=0.02)
    assert thick.z[0] >= thin.z[0] - GIVE
    assert fit.reach(tool, lane, clearance=more / 2).z[0] == pytest.approx(
        fit.reach(tool, lane, offset=more).z[0], abs=GIVE
    )


@QUICK
@given(SEEDS, TOOLS, st.floats(0.3, 1.0), BEND)
def test_straighter_canal_never_reduces_reach(seed, tool, curve, elastic):
    """Planar arcs, where scaling the departure does nothing but straighten (0.05 mm: the chord lengthens a little)."""
    radius = 6 + seed % 15
    lanes = [passage(0.3 + 0.045 * Z, centre=centreline(Z, radius, 7.0), curve=np.array([k])) for k in (1.0, curve)]
    bent_more, bent_less = (fit.reach(tool, lane, elastic=elastic, strain_limit=0.02).z[0] for lane in lanes)
    assert bent_less <= bent_more + 0.05


@QUICK
@given(SEEDS, TOOLS)
def test_what_may_bend_gets_at_least_as_deep(seed, tool):
    lane = curved_passage(seed)
    assert fit.reach(tool, lane, elastic=True, strain_limit=0.03).z[0] <= fit.reach(tool, lane).z[0] + GIVE


@QUICK
@given(SEEDS, TOOLS, st.integers(0, 1000), BEND)
def test_turning_and_shifting_the_tooth_changes_nothing(seed, tool, motion, elastic):
    lane = curved_passage(seed, oval=1.4)
    rng = np.random.default_rng(motion)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    moved = Passage(**{
        **vars(lane), "centre": lane.centre @ turn.T + rng.normal(0, 50, 3), "departure": lane.departure @ turn.T,
        "axis": lane.axis @ turn.T,
    })  # fmt: skip
    here, there = (fit.reach(tool, p, elastic=elastic, strain_limit=0.02) for p in (lane, moved))
    assert there.z[0] == pytest.approx(here.z[0], abs=GIVE)


def test_draws_are_what_single_canals_give():
    """Rows do not know of each other, whatever the number of processors they are shared out over."""
    rng = np.random.default_rng(5)
    d = 150
    minor = 0.35 + 0.045 * Z + rng.normal(0, 0.03, (d, 1))
    curve, offset = 1 + 0.2 * rng.normal(size=d), rng.uniform(-0.02, 0.02, d)
    centre, tool = centreline(Z, 10.0, 7.0), Profile.uniform(0.45, 0.02)
    for elastic in (False, True):
        together = fit.reach(
            tool, passage(minor, centre=centre, curve=curve), offset=offset, elastic=elastic, strain_limit=0.02
        )
        for i in (0, 63, 64, 149):
            lane = passage(minor[i], centre=centre, curve=curve[i : i + 1])
            alone = fit.reach(tool, lane, offset=offset[i], elastic=elastic, strain_limit=0.02)
            assert alone.z[0] == together.z[i]
            assert alone.code[0] == together.code[i]


def test_tools_of_the_tray():
    """Each kind by its own rules: a needle is a steel tube, a file bends, lengths and tolerances count."""
    lane = fit.Passage.of(canal(size=40, taper=0.06, end=0.0, top=13.0))
    needle = fit.reach_of(Needle("23 g", 23, 0.641, 0.337), lane)
    assert needle.z[0] == pytest.approx((0.641 - 0.40) / 0.06, abs=0.02)
    assert fit.reach_of(File("15/0.02", Profile.uniform(0.15, 0.02)), lane).code[0] == END
    tools = (Plugger("p", Profile.uniform(0.5, 0.02), working_length=15.0), Carrier("c", Profile.uniform(0.5, 0.04)))
    plugger, carrier = fit.reaches(tools, lane)
    assert plugger.code[0] == LENGTH
    assert carrier.z[0] == pytest.approx(0.1 / 0.06, abs=0.02)
    thick = fit.reach_of(tools[1], lane, scores=np.array([1.0]))
    assert thick.z[0] == pytest.approx(0.13 / 0.06, abs=0.02)
    assert thick.chance(2.5) == 1.0
    with pytest.raises(ValueError, match="clearance"):
        fit.reach(Profile((0.0,), (0.5,)), lane, clearance=-0.1)
