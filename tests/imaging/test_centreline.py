"""Protects: centrelines keep lengths, curvatures and angles of shapes whose truth is known in closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from canalwright.imaging import centreline, sections
from canalwright.imaging.centreline import Centreline, pruett, schneider, smooth


def arc_then_straight(
    radius: float, angle: float, straight: float, apical: float = 0.0, step: float = 0.1
) -> np.ndarray:
    """From the terminus up: an apical straight, an arc of `angle` degrees in the x-z plane, a straight along z."""
    theta = np.radians(angle)
    up = np.arange(0.0, straight + 1e-9, step)[1:]
    arc = np.linspace(theta, 0.0, max(3, int(radius * theta / step)))
    bow = np.column_stack([radius * (1 - np.cos(arc)), np.zeros_like(arc), -radius * np.sin(arc)])
    tail = np.arange(apical, 0.0, -step)
    way = np.array([np.sin(theta), 0.0, -np.cos(theta)])
    return np.vstack([bow[0] + tail[:, None] * way, bow, np.column_stack([0 * up, 0 * up, up])])


def helix(radius: float, pitch: float, length: float) -> tuple[np.ndarray, float, float]:
    """Points every 0.1 mm, curvature and torsion of a helix."""
    c = pitch / (2 * np.pi)
    rate = np.hypot(radius, c)
    t = np.arange(0, length, 0.1) / rate
    points = np.column_stack([radius * np.cos(t), radius * np.sin(t), c * t])
    return points, radius / rate**2, c / rate**2


def test_a_straight_line_stays_straight() -> None:
    line = smooth(np.linspace([0, 0, 0], [3, 4, 12], 20))
    assert line.length == pytest.approx(13.0, abs=1e-9)
    assert line.curvature.max() < 1e-6
    assert len(line.s) == 131
    assert line.s[-1] == pytest.approx(13.0)


def test_helix_curvature_and_torsion() -> None:
    """Frenet: kappa = r / (r^2 + c^2), tau = c / (r^2 + c^2); within 2 % away from the ends, 10 % at them."""
    points, kappa, tau = helix(8.0, 40.0, 18.0)
    line = smooth(points)
    inside = slice(35, -35)
    assert line.curvature == pytest.approx(kappa, rel=0.1)
    assert line.curvature[inside] == pytest.approx(kappa, rel=0.02)
    assert line.torsion[inside] == pytest.approx(tau, rel=0.02)
    assert line.turned == pytest.approx(np.degrees(kappa * line.s[-1]), rel=0.02)


def test_ripples_are_halved_at_the_wavelength() -> None:
    """The filter's definition: a ripple of the wavelength is halved, one of a third of it is gone."""
    z = np.arange(0, 30.0, 0.05)
    for wave, left in ((3.0, 0.5), (1.0, 0.0), (9.0, 1.0)):
        points = np.column_stack([0.01 * np.sin(2 * np.pi * z / wave), 0 * z, z])
        line = smooth(points, wavelength=3.0)
        middle = (line.points[:, 2] > 9) & (line.points[:, 2] < 21)
        assert np.ptp(line.points[middle, 0]) / 0.02 == pytest.approx(left, abs=0.03)


@settings(max_examples=20, deadline=None)
@given(radius=st.floats(4.0, 15.0), angle=st.floats(15.0, 60.0), noise=st.integers(0, 1000))
def test_arc_length_and_turn_survive_noise(radius: float, angle: float, noise: int) -> None:
    points = arc_then_straight(radius, angle, 8.0, 3.0)
    truth = 11.0 + radius * np.radians(angle)
    dirty = points + np.random.default_rng(noise).normal(0, 0.02, points.shape)
    line = smooth(dirty)
    assert line.length == pytest.approx(truth, abs=0.1)
    chord = line.points[-1] - line.points[0]
    assert np.linalg.norm(chord - (points[-1] - points[0])) < 0.18


@pytest.mark.parametrize(("radius", "angle"), [(5.0, 60.0), (8.0, 40.0), (12.0, 25.0)])
def test_schneider_is_half_the_arc_and_pruett_the_whole(radius: float, angle: float) -> None:
    """Closed form: an arc of central angle a that ends at the foramen has Schneider's angle a/2; an arc between
    straight ends has Pruett's angle a and its own radius. The rule of 3 degrees for leaving a straight line moves
    each point by 3 degrees of arc, so Schneider's angle may be off by 2 degrees and the radius by 10 %."""
    to_end = smooth(arc_then_straight(radius, angle, 8.0), wavelength=1.0).points
    assert schneider(centreline.project(to_end, np.array([0, 1.0, 0]))) == pytest.approx(angle / 2, abs=2.5)
    between = smooth(arc_then_straight(radius, angle, 8.0, 4.0), wavelength=1.0).points
    found, bend = pruett(between)
    assert found == pytest.approx(angle, abs=1.0)
    assert bend == pytest.approx(radius, rel=0.15)


def test_a_curve_seen_end_on_looks_straight() -> None:
    points = smooth(arc_then_straight(8.0, 40.0, 8.0)).points
    assert schneider(centreline.project(points, np.array([1.0, 0, 0]))) < 1.0
    assert pruett(centreline.project(points, np.array([1.0, 0, 0])))[1] == np.inf


def test_a_curve_that_takes_up_its_first_direction_again_has_a_radius_all_the_same() -> None:
    """Curves out of the view's plane do so: 20 degrees to one side, back beyond the first direction, 12 to the other at the end.
    What counts is where the canal first leaves its direction for good, 5.5 mm from where it takes its last one; an angle of
    6 degrees less than the whole over it. A radius of nothing was told once."""
    heading = np.radians(np.interp(np.arange(0, 12, 0.05), [0, 3, 5, 6, 7.5, 9, 12], [12, 12, -3, -20, -20, 0, 0]))
    line = np.cumsum(0.05 * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)
    angle, radius = pruett(line)
    assert angle == pytest.approx(12, abs=1)
    assert radius == pytest.approx(5.5 / (2 * np.sin(np.radians(3))), rel=0.1)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_frame_is_orthonormal_and_moves_with_the_body(seed: int) -> None:
    points, _, _ = helix(5.0, 25.0, 15.0)
    turn = Rotation.random(rng=np.random.default_rng(seed))
    line, moved = smooth(points), smooth(turn.apply(points) + 7.0)
    for one in (line, moved):
        frame = np.stack([one.tangent, one.normal, one.binormal], axis=1)
        assert frame @ np.swapaxes(frame, 1, 2) == pytest.approx(np.broadcast_to(np.eye(3), frame.shape), abs=1e-9)
        spin = np.einsum("ij,ij->i", np.diff(one.normal, axis=0), one.binormal[:-1])
        assert np.abs(spin).max() < 2e-4
    assert moved.curvature == pytest.approx(line.curvature, abs=1e-6)
    assert moved.points == pytest.approx(turn.apply(line.points) + 7.0, abs=1e-6)


@pytest.mark.parametrize("bad", [np.zeros((10, 3)), np.zeros((3, 3)), np.full((5, 3), np.nan), np.zeros((5, 2))])
def test_no_line_no_centreline(bad: np.ndarray) -> None:
    with pytest.raises(ValueError, match="centreline needs"):
        smooth(bad)


def ellipse(a: float, b: float, turn: float = 0.0, n: int = 200) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    c, s = np.cos(turn), np.sin(turn)
    return np.column_stack([a * np.cos(t), b * np.sin(t)]) @ np.array([[c, s], [-s, c]]) + [3.0, -2.0]


@settings(max_examples=25, deadline=None)
@given(a=st.floats(0.2, 2.0), ratio=st.floats(0.2, 1.0), turn=st.floats(0, np.pi))
def test_sections_of_ellipses(a: float, ratio: float, turn: float) -> None:
    found = sections.measure(ellipse(a, a * ratio, turn))
    assert found.major == pytest.approx(2 * a, rel=1e-3)
    assert found.minor == pytest.approx(2 * a * ratio, rel=2e-3)
    assert found.inscribed == pytest.approx(2 * a * ratio, rel=0.02)
    assert found.area == pytest.approx(np.pi * a**2 * ratio, rel=1e-3)
    assert found.centre == pytest.approx([3.0, -2.0], abs=1e-9)
    axes = np.linalg.eigvalsh(found.tensor)
    assert axes == pytest.approx(np.pi / 4 * np.array([a * (a * ratio) ** 3, a**3 * a * ratio]), rel=2e-3)


def test_a_triangle_holds_a_smaller_circle_than_its_width() -> None:
    """Equilateral, side 2: caliper widths sqrt(3) and 2, inscribed circle 2/sqrt(3)."""
    found = sections.measure(np.array([[0, 0], [2, 0], [1, np.sqrt(3)]]))
    assert (found.minor, found.major) == pytest.approx((np.sqrt(3), 2.0))
    assert found.inscribed == pytest.approx(2 / np.sqrt(3), rel=0.02)


def test_clip_gap_and_contains() -> None:
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], dtype=float)
    half = sections.clip(square, np.array([0.5, 0]), np.array([1.0, 0]))
    assert sections.measure(half).area == pytest.approx(1.0)
    assert len(sections.clip(square, np.array([-1.0, 0]), np.array([1.0, 0]))) == 0
    assert sections.contains(square, np.array([1, 1.0]))
    assert not sections.contains(square, np.array([3, 1.0]))
    distance, way = sections.gap(square, square * 3 - [2.5, 1])
    assert distance == pytest.approx(1.0)
    assert way == pytest.approx([0, -1.0])


@pytest.mark.parametrize("bad", [np.zeros((4, 2)), np.array([[0, 0], [1.0, 1]]), np.array([[0, 0], [1, 1], [2.0, 2]])])
def test_no_area_no_section(bad: np.ndarray) -> None:
    with pytest.raises(ValueError, match="outline"):
        sections.measure(bad)


def test_lumen_follows_a_ribbon_that_turns() -> None:
    """The axis of a flat lumen turns with it and never jumps by half a turn."""
    line: Centreline = smooth(np.linspace([0, 0, 0], [0, 0, 10.0], 30))
    turns = np.linspace(0.3, 2.2, len(line.s))
    stack = [
        sections.measure(line.to_plane(i, np.column_stack([ellipse(0.6, 0.2, turn), np.full(200, s)])))
        for i, (turn, s) in enumerate(zip(turns, line.s, strict=True))
    ]
    found = sections.lumen(line, stack, np.full(len(line.s), 1.5))
    assert found.minor == pytest.approx(0.4, rel=2e-3)
    truth = np.column_stack([np.cos(turns), np.sin(turns), 0 * turns])
    assert np.abs(np.einsum("ij,ij->i", found.axis, truth)).min() > 0.99
    assert np.einsum("ij,ij->i", found.axis[1:], found.axis[:-1]).min() > 0.99
