"""Protects: a profile never extrapolates, and a trimmed cone is the rest of the same cone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.instruments import Cone, Profile

tapered = st.builds(Profile.uniform, st.floats(0.06, 1.4), st.floats(0.0, 0.12), st.floats(10, 30))


@given(tapered, st.floats(0, 9), st.floats(0, 40))
def test_cutting_moves_the_tip_and_changes_no_diameter(profile: Profile, cut: float, x: float) -> None:
    assert profile.cut(cut)(x) == pytest.approx(profile(x + cut), abs=1e-12)


@given(tapered, st.floats(0.01, 4), st.floats(0.01, 4))
def test_cuts_add_up(profile: Profile, first: float, second: float) -> None:
    x = np.linspace(0, 20, 7)
    assert profile.cut(first).cut(second)(x) == pytest.approx(profile.cut(first + second)(x), abs=1e-12)


def test_before_the_tip_there_is_nothing_and_past_the_taper_it_stays() -> None:
    profile = Profile.uniform(0.25, 0.02)
    assert profile(-0.01) == 0
    assert profile(16) == profile(25) == pytest.approx(0.57)


@pytest.mark.parametrize(
    ("at", "diameter"), [((0, 1), (0.3,)), ((1, 2), (0.3, 0.4)), ((0, 0), (0.3, 0.4)), ((0,), (0,))]
)
def test_impossible_profiles_are_refused(at: tuple[float, ...], diameter: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="profile"):
        Profile(at, diameter)


def test_a_trimmed_cone_is_shorter_by_the_trim() -> None:
    cone = Cone("30/0.04", Profile.uniform(0.3, 0.04), 30).trimmed(1.5)
    assert cone.length == 26.5
    assert cone.profile.tip == pytest.approx(0.36)
