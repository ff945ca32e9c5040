"""Protects: the order of the heat solver in space and time, and its agreement with another library."""

import numpy as np
import pytest

from canalwright.heat import Surroundings
from canalwright.heat.reference import problem_a
from tests.support.heat_cases import FIRM, Body, alike

DENTINE = (0.6, 3.0e6)
GUTTA = (0.2, 2.0e6)


def rate(errors: list[float]) -> float:
    """Least-squares slope of log2 error over halvings."""
    return float(-np.polyfit(np.arange(len(errors)), np.log2(errors), 1)[0])


def test_second_order_in_radius() -> None:
    """Hollow cylinder 0.5 / 2.5 mm, inside 200 deg C, outside held at 37: 63.04 at 1.5 mm after 2 s.

    The exact value to more digits, from the series with 40 roots of J0 Y0 - Y0 J0, is computed here.
    """
    exact = _hollow(1.5, 2.0)
    assert exact == pytest.approx(63.04, abs=0.005)
    errors = []
    for radial in (0.2, 0.1, 0.05):
        body = Body(alike(*DENTINE), Surroundings.film(FIRM), bore=0.52, root=2.5, radial=radial)
        body.state["tolerance"] = 1e-4
        errors.append(abs(body.hold(0.5, 200.0).to(2.0).at(1.5) - exact))
    assert rate(errors) > 1.7, errors


def test_second_order_along_the_canal() -> None:
    """Half space, face at 200 deg C from 37: 37 + 163 erfc(x / 2 sqrt(a t)) at 1 mm after 5 s."""
    from scipy.special import erfc

    exact = 37 + 163 * erfc(1.0 / (2 * np.sqrt(0.2 * 5.0)))
    errors = []
    for height in (0.4, 0.2, 0.1):
        rows = round(20 / height)
        body = Body(alike(*DENTINE), Surroundings.film(0.0), bore=1.0, root=2.0, radial=0.5, rows=rows, height=height)
        body.state["tolerance"] = 1e-4
        errors.append(abs(body.foot(200.0).to(5.0).along_axis(1.0) - exact))
    assert rate(errors) > 1.7, errors


def test_second_order_in_time() -> None:
    """A rod cools from a smooth state: constant steps against steps forty times smaller."""

    def solved(step: float) -> float:
        body = Body(alike(*GUTTA), Surroundings.film(400.0), bore=0.2, root=0.5, radial=0.05, start=100.0)
        body.state["tolerance"] = 1e-4
        body.to(0.2)
        body.state["fixed"] = step
        return body.to(1.0).axis

    exact = solved(0.0025)
    errors = [abs(solved(step) - exact) for step in (0.4, 0.2, 0.1)]
    assert rate(errors) > 1.8, errors


def test_agrees_with_a_finite_element_library() -> None:
    """Reference problem A: scikit-fem on a fine mesh, within 0.3 K everywhere and at all times."""
    from tests.support.heat_general import scikit_fem

    time, surface, axis = scikit_fem(fine=0.015)
    ours = problem_a()
    np.testing.assert_allclose(ours.time, time)
    np.testing.assert_allclose(ours.surface, surface, atol=0.3)
    np.testing.assert_allclose(ours.axis, axis, atol=0.3)


def test_the_general_libraries_agree_with_each_other() -> None:
    """Otherwise they would prove nothing: finite volumes with SciPy against scikit-fem, within 0.2 K."""
    from tests.support.heat_general import scikit_fem, scipy_direct

    one, other = scikit_fem(fine=0.02), scipy_direct(fine=0.02)
    np.testing.assert_allclose(one[1], other[1], atol=0.2)
    np.testing.assert_allclose(one[2], other[2], atol=0.2)


def _hollow(r: float, t: float, a: float = 0.5, b: float = 2.5, hot: float = 200.0, cold: float = 37.0) -> float:
    """Hollow cylinder a < r < b of diffusivity 0.2 mm2/s, both faces held: the eigenfunction series (Carslaw & Jaeger 1959, ch. 13)."""
    from scipy.optimize import brentq
    from scipy.special import j0, y0

    def cross(x: float) -> float:
        return float(j0(a * x) * y0(b * x) - y0(a * x) * j0(b * x))

    grid = np.linspace(0.05, 70, 7000)
    values = np.array([cross(x) for x in grid])
    roots = np.array([brentq(cross, grid[i], grid[i + 1]) for i in np.nonzero(values[:-1] * values[1:] < 0)[0]])
    steady = cold + (hot - cold) * np.log(b / r) / np.log(b / a)
    shape = j0(r * roots) * y0(b * roots) - y0(r * roots) * j0(b * roots)
    ja, jb = j0(a * roots), j0(b * roots)
    fading = np.exp(-0.2 * roots**2 * t) * ja * jb * shape / (ja**2 - jb**2)
    return float(steady + np.pi * (hot - cold) * np.sum(fading))
