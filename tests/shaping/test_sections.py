"""Protects: the section of oval and file in closed form, against plain quadrature."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.shaping import union_area, untouched_share

WIDTH = st.floats(0.15, 1.5)


def by_quadrature(minor, major, circle, n=40_000):
    """Area and untouched share, by the midpoint rule over the polar angle and the ellipse's parameter."""
    a, b, c = major / 2, minor / 2, circle / 2
    t = (np.arange(n) + 0.5) * np.pi / 2 / n
    polar = a * b / np.sqrt((b * np.cos(t)) ** 2 + (a * np.sin(t)) ** 2)
    area = 4 * np.mean(0.5 * np.maximum(polar, c) ** 2) * np.pi / 2
    arc = np.sqrt((a * np.sin(t)) ** 2 + (b * np.cos(t)) ** 2)
    outside = np.hypot(a * np.cos(t), b * np.sin(t)) > c
    return area, np.sum(arc * outside) / np.sum(arc)


@settings(max_examples=60, deadline=None)
@given(WIDTH, st.floats(1.0, 4.0), st.floats(0.05, 3.0))
def test_union_and_untouched_share_match_quadrature(minor, oval, circle):
    area, share = by_quadrature(minor, minor * oval, circle)
    assert abs(union_area(minor, minor * oval, circle) - area) < 2e-6 * area
    if abs(circle / minor - 1) > 1e-3 and abs(circle / (minor * oval) - 1) > 1e-3:
        assert abs(untouched_share(minor, minor * oval, circle) - share) < 2e-3


def test_limits():
    """A file within the oval leaves its area and touches nothing; one around it leaves its own circle."""
    assert union_area(0.4, 0.8, 0.3) == np.pi / 4 * 0.4 * 0.8
    assert np.isclose(union_area(0.4, 0.8, 0.9), np.pi / 4 * 0.81)
    assert untouched_share(0.4, 0.8, 0.3) == 1
    assert untouched_share(0.4, 0.8, 0.9) == 0


@settings(max_examples=60, deadline=None)
@given(WIDTH, st.floats(1.0, 4.0), st.floats(0.05, 2.0), st.floats(0.0, 0.5))
def test_a_larger_file_opens_more_and_leaves_less_untouched(minor, oval, circle, more):
    assert union_area(minor, minor * oval, circle + more) >= union_area(minor, minor * oval, circle) - 1e-12
    assert untouched_share(minor, minor * oval, circle + more) <= untouched_share(minor, minor * oval, circle) + 1e-12
