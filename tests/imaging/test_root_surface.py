"""What a blurred root surface looks like along a ray: closed forms of shape, blur and ligament that the wall leans on."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from canalwright.imaging.tracing.ligament import LOCAL, USUAL, USUAL_ERROR, pooled
from canalwright.imaging.tracing.slant import meeting, slant

STEP, TURNS = 0.2, 32


@settings(max_examples=15, deadline=None)
@given(radius=st.floats(1.5, 4.0), cone=st.floats(-0.3, 0.3))
def test_a_cone_has_its_own_slant_and_curvature(radius: float, cone: float) -> None:
    """Closed form: a cone of half angle a cuts its rays at that angle and has the mean curvature cos(a) / (2 r)."""
    s = np.arange(0.0, 3.0, STEP)
    table = np.broadcast_to((radius + cone * s)[:, None], (len(s), TURNS))
    seen = slant(table, STEP)
    assert seen.cosine == pytest.approx(1 / np.hypot(1, cone), abs=1e-9)
    assert seen.curvature == pytest.approx(1 / (np.hypot(1, cone) * 2 * table), rel=1e-6)


def test_a_ball_bends_alike_everywhere_and_an_off_centre_tube_too() -> None:
    """Closed form: the mean curvature of a ball is 1 / R, of a tube 1 / (2 R), wherever the rays start."""
    s = np.arange(-1.2, 1.21, 0.05)
    ball = np.broadcast_to(np.sqrt(2.0**2 - s**2)[:, None], (len(s), 128))
    assert slant(ball, 0.05).curvature[3:-3] == pytest.approx(1 / 2.0, rel=0.02)
    turn = np.linspace(0, 2 * np.pi, 128, endpoint=False)
    tube = -0.3 * np.cos(turn) + np.sqrt(2.0**2 - (0.3 * np.sin(turn)) ** 2)
    off = slant(np.broadcast_to(tube, (8, 128)), 0.2)
    assert off.curvature == pytest.approx(1 / 4.0, rel=0.01)


@settings(max_examples=15, deadline=None)
@given(radius=st.floats(0.5, 3.0), away=st.floats(0.0, 0.6), turn=st.floats(0.0, 6.28))
def test_a_round_end_bends_alike_wherever_a_ray_meets_it(radius: float, away: float, turn: float) -> None:
    """Closed form: h = sqrt(R^2 - x^2 - y^2) below the middle of a ball bends by 1 / R, and rays from there meet it square."""
    place = radius * away * np.array([np.cos(turn), np.sin(turn)])
    h = np.sqrt(radius**2 - place @ place)
    bent = np.array([-1 / h - place[0] ** 2 / h**3, -place[0] * place[1] / h**3, -1 / h - place[1] ** 2 / h**3])
    seen = meeting(np.append(place, h) / radius, -place / h, bent)
    assert seen.curvature == pytest.approx(1 / radius, rel=1e-9)
    assert seen.cosine == pytest.approx(1.0, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(radius=st.floats(1.2, 3.0), spread=st.floats(0.08, 0.25))
def test_a_blurred_ball_looks_thinner_by_what_is_put_back(radius: float, spread: float) -> None:
    """Reference: a ball under a Gaussian in closed form (its grey at r, by the difference of two normal distribution
    functions); half of its grey lies `sunk` inside its surface, to a tenth of that."""
    r = np.linspace(0.5 * radius, radius, 20_000)
    peak = spread / (np.sqrt(2 * np.pi) * r)
    grey = ndtr((radius - r) / spread) - ndtr((-radius - r) / spread)
    grey += peak * (np.exp(-((radius + r) ** 2) / (2 * spread**2)) - np.exp(-((radius - r) ** 2) / (2 * spread**2)))
    half = float(np.interp(-0.5, -grey, r))
    s = np.arange(-0.4, 0.41, 0.02)
    seen = slant(np.broadcast_to(np.sqrt(radius**2 - s**2)[:, None], (len(s), TURNS)), 0.02)
    assert radius - half == pytest.approx(float(seen.sunk(spread)[20, 0]), rel=0.1)


@settings(max_examples=25, deadline=None)
@given(wide=st.floats(0.12, 0.4), seed=st.integers(0, 1000))
def test_many_rays_tell_the_width_of_a_roots_ligament(wide: float, seed: int) -> None:
    """Rays of known noise about a known mean: the pooled width lies within four of its errors, and moves with the greys as
    the rays do; rays that say nothing leave the usual width and its doubt."""
    rng = np.random.default_rng(seed)
    doubt = np.hypot(USUAL_ERROR, LOCAL)
    noise = rng.uniform(0.1, 1.5, 400)
    itself = np.log(wide) + LOCAL * rng.standard_normal(400) + noise * rng.standard_normal(400)
    variance = 1 / (1 / noise**2 + 1 / doubt**2)
    told = variance * (itself / noise**2 + np.log(USUAL) / doubt**2)
    moved = np.column_stack([np.full(400, 0.5) * variance / noise**2, np.zeros(400), variance / doubt**2])
    root = pooled(told, np.sqrt(variance), moved, 1.0)
    assert abs(root.log_width - np.log(wide)) < 4 * root.error + 0.02
    assert root.shift == pytest.approx([0.5, 0.0], abs=0.02)
    nothing = pooled(np.full(9, np.log(USUAL)), np.full(9, doubt), np.column_stack([np.zeros((9, 2)), np.ones(9)]), 1.0)
    assert (nothing.log_width, nothing.error) == pytest.approx((np.log(USUAL), USUAL_ERROR))
