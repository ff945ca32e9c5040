"""Dissolution: the closed form against the grid, the grid against Neumann and Thiele with its order, mass to the digit."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import irrigation
from canalwright.irrigation import diffuse
from canalwright.irrigation.figures import figure

HELD, D, DEMAND = 0.025, 2.4e-3, 0.4


def _gone(cells, steps, *, rate=400.0, seconds=300.0, held=HELD, demand=DEMAND):
    return diffuse.course(
        1.0, seconds, held, diffusivity=D, demand=demand, rate=rate, cells=cells, steps=steps
    )  # fmt: skip


def test_a_sharp_front_follows_neumann():
    """A fast reaction is a melting front: the depth comes within 0.1 % of the closed form."""
    true = 2 * diffuse.neumann(HELD, DEMAND) * np.sqrt(D * 300)
    assert _gone(100, 1600, rate=4000.0).depth[-1] == pytest.approx(true, rel=1e-3)


def test_order_of_convergence():
    """Where the front is smooth: first order in time, second in space, by halving against a fine solution."""
    fine = _gone(160, 1600, rate=10.0).depth[-1]
    time = [abs(_gone(160, n, rate=10.0).depth[-1] - fine) for n in (25, 50, 100)]
    assert all(1.7 < a / b < 2.4 for a, b in pairwise(time))
    space = [abs(_gone(n, 200, rate=10.0).depth[-1] - _gone(320, 200, rate=10.0).depth[-1]) for n in (10, 20, 40)]
    assert all(3.2 < a / b < 5.0 for a, b in pairwise(space))


def test_steady_state_follows_thiele():
    """Tissue that stays: cosh profile, second order in space."""
    errors = []
    for cells in (20, 40, 80):
        rate = 9 * D / DEMAND  # modulus 3 over 1 mm
        found = diffuse.course(
            1.0, 2e5, HELD, diffusivity=D, demand=DEMAND, rate=rate, cells=cells, steps=60, consumed=False
        )
        errors.append(np.max(np.abs(found.concentration / HELD - diffuse.thiele(found.x, 1.0, 3.0))))
    assert errors[2] < 1e-3
    assert np.log2(errors[0] / errors[1]) > 1.8 and np.log2(errors[1] / errors[2]) > 1.8


@settings(max_examples=20, deadline=None)
@given(st.floats(0.1, 500), st.floats(0.005, 0.08), st.floats(0.1, 2.0), st.floats(10, 2000))
def test_mass_is_kept(rate, held, demand, seconds):
    """Hypochlorite drawn in is in the fin or used up by tissue that is gone; nothing negative, nothing above the mouth."""
    found = _gone(40, 40, rate=rate, seconds=seconds, held=held, demand=demand)
    inside = float(found.concentration.sum()) / 40
    assert found.taken[-1] == pytest.approx(inside + demand * found.depth[-1], rel=1e-6, abs=1e-9)
    assert (found.concentration >= -1e-12).all() and (found.concentration <= held * (1 + 1e-9)).all()
    assert (np.diff(found.depth) >= -1e-12).all() and found.depth[-1] <= 1 + 1e-9


def test_quasi_steady_closed_form_is_good_enough():
    """sqrt(2 C / n D t) against Neumann: within C / (6 n), 1 to 4 % at strengths in use."""
    for percent in (1, 2.5, 5.25):
        held = percent / 100
        quasi = float(irrigation.front(600.0, percent, 1e6, DEMAND, D))
        true = 2 * diffuse.neumann(held, DEMAND) * np.sqrt(D * 600)
        assert quasi / true - 1 == pytest.approx(held / DEMAND / 6, rel=0.3)


@given(st.floats(0.001, 5), st.floats(0.5, 8), st.floats(0.001, 1), st.floats(0.05, 3), st.floats(5e-4, 5e-3))
def test_depth_and_time_undo_each_other(depth, percent, speed, demand, diffusivity):
    time = irrigation.time_for(depth, percent, speed, demand, diffusivity)
    assert irrigation.front(time, percent, speed, demand, diffusivity) == pytest.approx(depth, rel=1e-9)


@given(st.floats(0.5, 8), st.floats(15, 55), st.floats(10, 3000))
def test_laws(percent, warm, seconds):
    """Stronger, warmer, longer, agitated: deeper. Twice the time never twice the depth."""

    def deep(p, w, t, agitation="none"):
        return irrigation.dissolved(t, irrigation.Bath(p, w, agitation), draws=0).value

    base = deep(percent, warm, seconds)
    assert deep(min(percent + 0.25, 8.25), warm, seconds) > base
    assert deep(percent, warm + 5, seconds) > base
    assert deep(percent, warm, seconds, "ultrasonic") > base
    assert base < deep(percent, warm, 2 * seconds) <= 2 * base * (1 + 1e-9)


def test_the_stated_interval_covers_the_stated_spreads():
    """Speeds, demands and diffusivities drawn afresh: 90 % of the depths lie within the interval."""
    rng = np.random.default_rng(9)
    bath = irrigation.Bath(2.5, 33.0)
    stated = irrigation.dissolved(600.0, bath, draws=2048)

    def lognormal(name):
        return figure("dissolve", name).value * np.exp(rng.normal(0, figure("dissolve", name).error, 4000))

    warm = lognormal("warmth") ** (13 / 25)
    from canalwright.irrigation.dissolve import diffusivity_at

    spread = lognormal("diffusivity") / figure("dissolve", "diffusivity").value * diffusivity_at(33.0)
    drawn = irrigation.front(600.0, 2.5, lognormal("speed") * warm, lognormal("demand"), spread)
    assert np.mean((drawn >= stated.low) & (drawn <= stated.high)) == pytest.approx(0.9, abs=0.02)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: irrigation.Bath(12.0), "0.5 to 8.25"),
        (lambda: irrigation.Bath(3.0, 80.0), "15 to 60"),
        (lambda: irrigation.Bath(3.0, 33.0, "stirred"), "there are none"),
        (lambda: irrigation.dissolved(-1, irrigation.Bath()), "0 to 86400"),
        (lambda: irrigation.dissolution_time(20, irrigation.Bath()), "0 to 10 mm"),
    ],
)
def test_refusals(make, words):
    with pytest.raises(irrigation.SoakError, match=words):
        make()
