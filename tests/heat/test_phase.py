"""Protects: gutta-percha melts at two peaks, freezes lower, and its enthalpy never loses count."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.heat import Materials, Surroundings
from canalwright.heat.grid import stuff
from canalwright.heat.kernel_phase import molten_on_cooling, molten_on_heating, temperature

S = stuff(Materials(), Surroundings.tissue())[0]
BODY = 37.0
LATENT = Materials().gp_latent / Materials().gp_capacity


def walk(path: list[float]) -> list[tuple[float, float]]:
    """Temperature and molten fraction while the enthalpy (in K, above body temperature) goes along `path`."""
    molten, seen = 0.0, []
    for u in path:
        t = temperature(S, u, LATENT, molten)
        molten = (u - t) / LATENT
        seen.append((t + BODY, molten))
    return seen


def test_heats_through_two_peaks_and_cools_lower() -> None:
    up = walk(list(np.linspace(0, 60, 600)))
    half_first = next(t for t, m in up if m > 0.25)
    half_second = next(t for t, m in up if m > 0.75)
    assert half_first == pytest.approx(51, abs=0.2) and half_second == pytest.approx(61, abs=0.2)
    both = walk(list(np.linspace(0, 60, 600)) + list(np.linspace(60, 0, 600)))[600:]
    assert next(t for t, m in both if m < 0.99) == pytest.approx(50, abs=0.3)
    assert next(t for t, m in both if m < 0.01) == pytest.approx(40, abs=0.3)


def test_heat_of_one_cubic_millimetre_from_37_to_80() -> None:
    """0.0860 J sensible and 0.0232 J latent for 2.0e6 J/(m3 K) and 10.88 J/g at 2130 kg/m3."""
    m = Materials.of({"gp_capacity": 2.0e6, "gp_latent": 10880.0 * 2130})
    s, latent = stuff(m, Surroundings.tissue())[0], 10880.0 * 2130 / 2.0e6
    u = (0.08600 + 0.02317) / 2.0e-3
    assert temperature(s, u, latent, 0.0) + BODY == pytest.approx(80, abs=0.01)


@given(st.lists(st.floats(-20, 120), min_size=1, max_size=30))
@settings(max_examples=60, deadline=None)
def test_any_history_keeps_enthalpy_and_stays_between_the_curves(path: list[float]) -> None:
    for (t, molten), u in zip(walk(path), path, strict=True):
        assert t - BODY + LATENT * molten == pytest.approx(u, abs=1e-9)
        assert molten_on_heating(S, t - BODY) - 1e-9 <= molten <= molten_on_cooling(S, t - BODY) + 1e-9


@given(st.floats(-20, 100), st.floats(0.01, 30), st.floats(0, 1))
@settings(max_examples=60, deadline=None)
def test_more_heat_is_never_cooler(u: float, more: float, molten: float) -> None:
    assert temperature(S, u + more, LATENT, molten) >= temperature(S, u, LATENT, molten)
