"""Protects: the errors of a canal move its geometry the same way one at a time and in many draws."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy import Canal, Measured, centres, native_widths, perturbed, walls
from canalwright.anatomy.perturb import LEAST, departures
from canalwright.quantities import draw

CANAL = Canal.from_measurements(tooth=46, canal="mesiobuccal", working_length=20.5, finishing_file=(30, 0.04))
EVEN = replace(CANAL, weights={})


def test_nothing_changed_is_the_same_canal() -> None:
    assert perturbed(CANAL) is CANAL


@settings(max_examples=40)
@given(st.floats(-0.5, 0.5), st.floats(-1.0, 1.0), st.floats(0.0, 2.0))
def test_one_perturbation_does_what_its_key_says(width: float, wall: float, curve: float) -> None:
    moved = perturbed(CANAL, width=width, wall=wall, curve=curve).native
    old = CANAL.native
    assert moved.minor == pytest.approx(np.maximum(old.minor + width, LEAST))
    assert moved.wall == pytest.approx(np.maximum(old.wall + wall, LEAST))
    assert (moved.major >= moved.minor).all()
    assert moved.area == pytest.approx(np.pi / 4 * moved.minor * moved.major)
    assert departures(moved) == pytest.approx(curve * departures(old), abs=1e-9)


def test_draws_agree_with_single_perturbations() -> None:
    sample = draw(CANAL.errors, 16, seed=3)
    minor, major = native_widths(EVEN, sample)
    for i in (0, 1, 9):
        one = perturbed(EVEN, width=sample["width"][i], wall=sample["wall"][i], curve=sample["curve"][i]).native
        assert minor[i] == pytest.approx(one.minor)
        assert major[i] == pytest.approx(one.major)
        assert walls(EVEN, sample)[i] == pytest.approx(one.wall)
        assert centres(CANAL, sample)[i] == pytest.approx(one.centre)


def test_a_gauge_keeps_the_width_sure_where_it_was() -> None:
    """Draws spread at the end by the error of the gauge, above by that of the average, at the orifice by that of its reading."""
    canal = Canal.from_measurements(
        tooth=46, canal="mesiobuccal", working_length=20.5, finishing_file=(30, 0.04),
        apical_gauge=Measured(30, "gauging file"), orifice_width=Measured(1.1, error=0.05), wall={5: 1.0},
    )  # fmt: skip
    sample = draw(canal.errors, 1024, seed=5)
    spread = native_widths(canal, sample)[0][1:].std(axis=0)
    at = lambda z: spread[round(z * 10)]  # noqa: E731
    assert at(canal.end) == pytest.approx(0.03, rel=0.03)
    assert at(3.0) == pytest.approx(0.1, rel=0.03)
    assert spread[-1] == pytest.approx(0.05, rel=0.03)
    sure = walls(canal, sample)[1:].std(axis=0)
    assert sure[50] > 0.25
    assert canal.weights["wall"][50] == 1


def test_a_measured_wall_is_surer_than_the_average_beyond_it() -> None:
    canal = Canal.from_measurements(
        tooth=46, canal="distal", working_length=20.5, finishing_file=(30, 0.04),
        wall={4: 1.1, 8: 1.3}, walls_method="micro-CT",
    )  # fmt: skip
    error = canal.errors["wall"].error * canal.weights["wall"]
    assert error[60] == pytest.approx(0.03)
    assert error[10] == pytest.approx(0.35)


def test_draws_without_a_key_leave_it_alone() -> None:
    sample = draw({}, 0, seed=1)
    assert native_widths(CANAL, sample)[0] == pytest.approx(CANAL.native.minor[None])


def test_a_straightened_canal_is_straight() -> None:
    straight = perturbed(CANAL, curve=0.0).native
    assert np.linalg.matrix_rank(straight.centre - straight.centre[0], tol=1e-6) == 1
