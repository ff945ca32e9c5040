"""Protects: the kernels give the closed forms of flow, cooling, pressure and wall stress to the stated digits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.compaction import branches, pressure, root
from canalwright.compaction.materials import (
    ACTIVATION,
    CONSISTENCY,
    INDEX,
    LOG_RATIO,
    YIELD_COLD,
    YIELD_SOFT,
    table,
)

NOMINAL = table({})[0]


def fluid(consistency: float = 0.01, index: float = 1.0, shear: float = 1e-9) -> np.ndarray:
    """A material of constant properties: no temperature, no transition."""
    m = NOMINAL.copy()
    m[[CONSISTENCY, INDEX, ACTIVATION, YIELD_COLD, YIELD_SOFT, LOG_RATIO]] = consistency, index, 0.0, shear, shear, 0.0
    return m


def driven(p: float, t: float, d: float, m: np.ndarray, most: float = 5.0, slot: bool = False) -> float:
    arrived, soft = np.full(branches.CELLS, -1.0), np.zeros(branches.CELLS)
    return branches.advance_gutta(p, t, 0.0, 80.0, 1.0, 80.0, 80.0, d, d, slot, most, most, 0.0, arrived, soft, m)


@pytest.mark.parametrize(
    ("d", "viscosity", "seconds", "length"),
    [(0.1, 0.01, 10, 0.7906), (0.2, 0.01, 10, 1.581), (0.1, 0.1, 10, 0.2500), (0.1, 0.01, 2, 0.3536)],
)
def test_newtonian_entry_has_its_worked_values(d: float, viscosity: float, seconds: float, length: float) -> None:
    """L = (d/4) sqrt(P t / eta) at 1 MPa; computed beforehand."""
    assert branches.newtonian_entry(d, 1.0, seconds, viscosity) == pytest.approx(length, rel=2e-4)
    assert driven(1.0, seconds, d, fluid(viscosity)) == pytest.approx(length, rel=2e-4)
    front, *_ = branches.advance_sealer(1.0, seconds, 0.0, 9.0, 9.0, d, viscosity)
    assert front == pytest.approx(length, rel=2e-4)


@settings(deadline=None)
@given(st.floats(0.2, 1.0), st.floats(0.003, 1.0), st.floats(0.5, 20.0), st.floats(0.05, 0.4))
def test_power_law_entry(index: float, consistency: float, p: float, d: float) -> None:
    closed = branches.power_law_entry(d, p, 4.0, consistency, index)
    assert driven(p, 4.0, d, fluid(consistency, index), most=max(2 * closed, 0.01)) == pytest.approx(closed, rel=1e-4)


def test_newtonian_slot_entry() -> None:
    """Slot of width w: L = w sqrt(P t / (6 eta))."""
    assert driven(1.0, 5.0, 0.2, fluid(0.01), slot=True) == pytest.approx(0.2 * np.sqrt(5 / 0.06), rel=1e-4)


@settings(deadline=None)
@given(st.floats(0.01, 0.5), st.floats(0.5, 10.0))
def test_plug_with_yield_stops_at_its_limit(shear: float, p: float) -> None:
    """P d = 4 tau_y L; it comes close from below in any time."""
    limit = float(branches.yield_limit(0.1, p, shear))
    m = fluid(1e-6, 1.0, shear)
    came = driven(p, 60.0, 0.1, m, most=3 * limit)
    assert 0.98 * limit < came <= limit * 1.0001


def test_plug_with_yield_on_the_way() -> None:
    """n = 1: t = (8 K / (d tau_y)) (-L - Lm ln(1 - L/Lm)) ... from dL/dt = (d/(8 K)) tau_y (Lm - L) / L, Lm = P d/(4 tau_y)."""
    d, p, shear, k = 0.2, 2.0, 0.05, 0.05
    limit = p * d / (4 * shear)
    length = 0.5 * limit
    seconds = 8 * k / (d * shear) * (-length - limit * np.log(1 - length / limit))
    assert driven(p, seconds, d, fluid(k, 1.0, shear), most=2 * limit) == pytest.approx(length, rel=0.04)


def test_sealer_leaves_at_the_poiseuille_rate_and_none_is_lost() -> None:
    d, eta, length, supply = 0.1, 1e-5, 1.0, 0.2
    bore = np.pi / 4 * d * d
    front, beyond, left, spare = branches.advance_sealer(1.0, 0.5, length, length, supply, d, eta)
    assert beyond == pytest.approx(bore * d * d / (32 * eta * length) * 0.5, rel=1e-9)
    assert (front, spare) == (length, 0.0)
    front, beyond, left, spare = branches.advance_sealer(5.0, 9.0, 0.0, length, supply, d, eta)
    assert front * bore + beyond + left == pytest.approx(supply)
    assert spare > 0


@pytest.mark.parametrize(("seconds", "mean"), [(0.1, 74.20), (0.5, 50.72), (1.0, 41.31)])
def test_mean_temperature_of_a_cooling_cylinder(seconds: float, mean: float) -> None:
    """1 mm cylinder, 100 C, wall 37 C, diffusivity 0.1 mm2/s: series with 60 terms."""
    assert 37 + 63 * branches.cooled(seconds, 1.0, 0.1) == pytest.approx(mean, abs=0.05)


@pytest.mark.parametrize(("above", "root_"), [(20, 0.7609), (60, 1.070), (140, 1.310)])
def test_freezing_front_constant(above: float, root_: float) -> None:
    """One-phase front 2 lambda sqrt(a t): c 940, latent 10 880 J/kg."""
    assert branches.stefan_number_root(940 * above / 10880) == pytest.approx(root_, rel=5e-4)


def test_open_time_of_a_branch() -> None:
    """Warm walls never close; a wider branch stays open as the square of its width."""
    assert branches.open_time(0.1, 70, 46, 45, 0.35) == np.inf
    assert branches.open_time(0.1, 44, 40, 45, 0.35) == 0
    one, two = (branches.open_time(d, 70, 38, 45, 0.35) for d in (0.1, 0.2))
    assert two / one == pytest.approx(4, rel=1e-6)


def test_pressure_down_a_sticking_and_a_sliding_column() -> None:
    """Sticking: linear, 4 tau / D. Sliding: exp(-4 mu z / D)."""
    z = np.arange(0, 10.05, 0.1)
    wide = np.full(len(z), 0.8)
    stick = pressure.column_pressure(z, wide, np.full(len(z), 0.1), 10.0, 8.0)
    assert stick[0] == pytest.approx(8 - 4 * 0.1 / 0.8 * 10, rel=1e-9)
    slide = pressure.column_pressure(z, wide, np.full(len(z), 1e6), 10.0, 8.0, friction=0.2)
    assert slide[50] == pytest.approx(8 * np.exp(-4 * 0.2 / 0.8 * 5), rel=1e-9)
    assert pressure.column_pressure(z, wide, np.full(len(z), 3.0), 5.0, 8.0)[60:].max() == 0


def test_plugger_presses_with_its_force_or_slips() -> None:
    assert pressure.under_the_plugger(10.0, np.pi / 4 * 0.5**2, np.pi / 4 * 0.5**2, 0.0, 0.1, 1.0) == (
        pytest.approx(50.93, rel=1e-4),
        False,
    )
    slipping, slips = pressure.under_the_plugger(10.0, np.pi / 4 * 0.5**2, np.pi / 4 * 0.9**2, 1.0, 0.1, 0.5)
    assert slips
    assert slipping == pytest.approx(0.1 * (2 + np.pi + 2 * 0.5 * 1.0 / 0.2))


def test_lame_and_its_limits() -> None:
    """Bore 0.5, outer 2.5 mm, 1 MPa: 1.0833 MPa; thin wall p a/t, thick wall p."""
    assert root.hoop_factor(0.5, 2.0) == pytest.approx(1.0833, abs=5e-5)
    assert root.hoop_factor(0.5, 0.005) == pytest.approx(100, rel=0.01)
    assert root.hoop_factor(0.01, 5.0) == pytest.approx(1, abs=1e-4)
    assert root.wall_stress(1.0, 0.4, 0.8, 1e3) == pytest.approx(3.0, rel=1e-3)


def test_a_wedge_balances_its_force() -> None:
    """Normal and friction forces on the contact add up to the force along the plugger."""
    p = root.wedge_pressure(20.0, 0.7, 2.0, 0.06, friction=0.2)
    assert p * np.pi * 0.7 * 2.0 * (0.03 + 0.2) == pytest.approx(20)
