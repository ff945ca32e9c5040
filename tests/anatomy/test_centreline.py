"""Protects: the centreline is the arcs that were measured, of the right length, in one plane and in two."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.anatomy.centreline import Arc, across, arc_from_schneider, centreline, direction, schneider

Z = np.arange(141) * 0.1
angles = st.floats(0.02, 0.9)


def chord_angle(points: np.ndarray, start: float, plane: int) -> float:
    """Schneider angle measured on the points, in the view of one plane, radians."""
    i = round(start * 10)
    line = points[i] - points[0]
    return float(np.arctan2(abs(line[plane]), line[2]))


@given(angles, st.floats(2, 10), st.sampled_from(["distal", "mesial", "lingual", "mesiobuccal"]))
def test_one_curve_is_an_exact_arc(turn: float, radius: float, towards: str) -> None:
    """Every point of a single arc that ends at the terminus lies at its radius from one centre."""
    arc = Arc(radius * turn, radius, turn, towards)
    points, _ = centreline(np.linspace(0, 14, 300), [arc])
    z = np.linspace(0, 14, 300)
    sideways = np.array([*direction(towards), 0.0])
    top = points[-1] - np.array([0, 0, 14 - arc.start])
    centre = top + radius * sideways
    on_arc = z <= arc.start
    assert np.linalg.norm(points[on_arc] - centre, axis=1) == pytest.approx(radius, abs=1e-9)


@given(angles, st.floats(2, 12), st.floats(0.3, 1.0))
def test_schneider_angle_comes_back(angle: float, start: float, share: float) -> None:
    """The angle between the coronal axis and the chord is the one that was asked for."""
    radius = share * start / (2 * angle)
    arc = arc_from_schneider(angle, start, radius)
    z = np.sort(np.append(np.linspace(0, 14, 200), start))
    points, _ = centreline(z, [arc])
    line = points[np.searchsorted(z, start)] - points[0]
    assert np.arctan2(-line[0], line[2]) == pytest.approx(angle, abs=1e-6)
    assert schneider(arc) == pytest.approx(angle, abs=1e-6)


@given(angles)
def test_without_a_radius_the_arc_ends_at_the_terminus(angle: float) -> None:
    arc = arc_from_schneider(angle, 6.0, None)
    assert arc.stop == pytest.approx(0)
    assert arc.angle == pytest.approx(2 * angle)


def test_a_radius_too_large_for_its_angle_is_refused() -> None:
    with pytest.raises(ValueError, match=r"radius of at most 8\.6 mm"):
        arc_from_schneider(np.radians(20), 6.0, 9.0)


@given(st.floats(0.05, 1.3), st.floats(0.05, 1.3), st.floats(2, 8), st.floats(2, 8))
def test_two_views_show_the_two_turns(first: float, second: float, level: float, other: float) -> None:
    """At the terminus the tangent shows each turn in its own view, and steps keep their length."""
    arcs = [Arc(level, level / first, first, "distal"), Arc(other, other / second, second, "lingual")]
    points, tangents = centreline(Z, arcs)
    assert np.arctan2(-tangents[0, 0], tangents[0, 2]) == pytest.approx(first, abs=1e-9)
    assert np.arctan2(-tangents[0, 1], tangents[0, 2]) == pytest.approx(second, abs=1e-9)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    assert steps.max() <= 0.1 + 1e-9
    assert steps.min() > 0.0995


def test_a_second_curve_moves_the_first_angle_by_less_than_half_a_degree() -> None:
    """What the model leaves out: 40 degrees (Schneider) with a second curve of 30 degrees."""
    arcs = [arc_from_schneider(np.radians(40), 6, None), Arc(6, 6 / np.radians(30), np.radians(30), "lingual")]
    points, _ = centreline(Z, arcs)
    assert np.degrees(chord_angle(points, 6, 0)) == pytest.approx(40, abs=0.5)


@given(st.floats(0.0, 1.2), st.sampled_from(["buccolingual", "mesiodistal"]))
def test_the_direction_of_the_greatest_width_is_square_to_the_canal(turn: float, widest: str) -> None:
    _, tangents = centreline(Z, [Arc(6, 6 / max(turn, 1e-6), turn, "distolingual")])
    axis = across(tangents, widest)
    assert np.linalg.norm(axis, axis=1) == pytest.approx(1)
    assert np.einsum("ij,ij->i", axis, tangents) == pytest.approx(0, abs=1e-12)
