"""Protects: hotter or longer is never cooler; a thicker wall is never a hotter surface."""

from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.heat import HeatStory, Resolution, simulate
from canalwright.heat.example import lumen
from canalwright.instruments import Carrier, Profile
from canalwright.protocol import Heat, Protocol

GRID = Resolution(radial=0.15, axial=0.25, growth=1.5, tolerance=0.2)
SLACK = 0.02
"""Error of the time steps, K."""


def heated(temperature: float, seconds: float, root: float, stop: float = 6.0) -> HeatStory:
    carrier = Carrier("carrier", Profile.uniform(0.5, 0.06))
    acts = (Heat(carrier, stop, temperature, seconds, 1.0, 5.0),)
    return simulate(lumen(root=root), Protocol(acts), resolution=GRID, until=12.0)


@given(st.floats(120, 250), st.floats(10, 100), st.floats(1.5, 4), st.floats(1.6, 3.0))
@settings(max_examples=8, deadline=None)
def test_hotter_is_never_cooler(temperature: float, more: float, seconds: float, root: float) -> None:
    assert (
        heated(temperature + more, seconds, root).surface_rise
        >= heated(temperature, seconds, root).surface_rise - SLACK
    )


@given(st.floats(120, 250), st.floats(1.5, 4), st.floats(0.5, 2), st.floats(1.6, 3.0))
@settings(max_examples=8, deadline=None)
def test_longer_is_never_cooler(temperature: float, seconds: float, more: float, root: float) -> None:
    longer, shorter = heated(temperature, seconds + more, root), heated(temperature, seconds, root)
    assert longer.surface_rise >= shorter.surface_rise - SLACK
    assert longer.deepest_front <= shorter.deepest_front + 1e-9


@given(st.floats(120, 250), st.floats(1.5, 4), st.floats(1.6, 2.6), st.floats(0.1, 0.8))
@settings(max_examples=8, deadline=None)
def test_thicker_wall_is_never_hotter(temperature: float, seconds: float, root: float, more: float) -> None:
    assert (
        heated(temperature, seconds, root + more).surface_rise
        <= heated(temperature, seconds, root).surface_rise + SLACK
    )
