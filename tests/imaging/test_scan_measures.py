"""Course, sections and wall of a found canal against closed forms and a phantom's truth, each with an interval that holds."""

from dataclasses import replace

import numpy as np
import pytest

from canalwright.anatomy.lumen import Lumen
from canalwright.imaging import FoundCanal, Quality
from canalwright.imaging.found import RootSurface
from canalwright.imaging.levels import levels
from canalwright.imaging.measures import course, measures, thinnest, towards
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, render
from tests.imaging.scans import as_found, phantom, traced


def canal(points: np.ndarray, *, minor: float = 0.4, major: float = 0.6, error: float = 0.015) -> FoundCanal:
    """A canal of even width along points of even spacing."""
    n = len(points)
    z = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    tangent = np.gradient(points, z, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    axis = np.cross(tangent, [0.0, 1.0, 0.0])
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    full = np.full(n, 1.0)
    lumen = Lumen(z, minor * full, major * full, points, axis, full, np.pi / 4 * minor * major * full)
    return FoundCanal(
        "canal", lumen, float(z[-1]), minor, points[-1], points[0], error * full, error * full, np.tile([1.0, 0, 0], (n, 1)),
        minor * full, np.array([0.0, 0, 1]), Quality(1.0), length_error=0.05, centre_error=error * full,
    )  # fmt: skip


def helix(radius: float, pitch: float, length: float = 12.0) -> tuple[np.ndarray, float, float]:
    """Points every 0.1 mm, curvature and torsion (pitch: rise per radian)."""
    rate = np.hypot(radius, pitch)
    t = np.arange(0, length, 0.1) / rate
    points = np.column_stack([radius * np.cos(t), radius * np.sin(t), pitch * t])
    return points, radius / rate**2, pitch / rate**2


def test_curvature_and_torsion_of_a_noisy_helix_hold_within_their_intervals() -> None:
    """Radius 3, rise 4 mm per radian: 0.12 and 0.16 per mm, seen through 0.015 mm of noise on the centreline."""
    points, bend, twist = helix(3.0, 4.0)
    noise = np.random.default_rng(3).normal(0, 0.015, points.shape)
    told = course(canal(points + noise))
    inner = slice(25, -25)
    assert np.median(told.curvature[inner]) == pytest.approx(bend, rel=0.08)
    assert np.nanmedian(told.torsion[inner]) == pytest.approx(twist, rel=0.25)
    held = np.abs(told.curvature - bend)[inner] < 2 * 1.645 * told.curvature_error[inner] + 0.01
    assert held.mean() > 0.85
    mirrored = course(canal((points + noise) * [1, -1, 1]))
    assert np.nanmedian(mirrored.torsion[inner]) == pytest.approx(-np.nanmedian(told.torsion[inner]), rel=1e-6)


def test_a_straight_canal_has_no_torsion_and_no_radius_to_speak_of() -> None:
    told = measures(canal(np.outer(np.arange(0, 10, 0.1), [0.0, 0, 1])))
    assert np.isnan(told.course.torsion).all()
    assert all(view.radius.high == float("inf") for view in told.views)
    assert all(view.schneider.value < 1.0 for view in told.views)


def test_an_arc_is_seen_in_one_view_and_not_in_the_other() -> None:
    """40 degrees over radius 8 mm towards mesial, 6 mm straight above: closed forms of both definitions."""
    turn = np.radians(np.arange(40, 0, -0.1 / 8 * 180 / np.pi))
    arc = np.column_stack([8 * (1 - np.cos(turn)), 0 * turn, -8 * np.sin(turn)])
    points = np.vstack([arc, np.outer(np.arange(0.0, 6.0, 0.1), [0.0, 0, 1])])
    told = measures(canal(points), mesial=(1, 0, 0), buccal=(0, -1, 0))
    flat, edge = (next(v for v in told.views if v.name.startswith(k)) for k in ("buccolingual", "mesiodistal"))
    assert flat.angle.low <= 40 <= flat.angle.high + 2
    assert flat.radius.low <= 8 <= flat.radius.high
    assert flat.schneider.value == pytest.approx(20, abs=4)
    assert edge.angle.value < 3


def test_volume_and_surface_of_an_even_tube_are_the_closed_forms() -> None:
    told = measures(canal(np.outer(np.arange(0, 10.01, 0.1), [0.0, 0, 1]), minor=0.5, major=0.5))
    assert told.volume.value == pytest.approx(np.pi * 0.25**2 * 10, rel=1e-6)
    assert told.surface.value == pytest.approx(np.pi * 0.5 * 10, rel=1e-6)
    assert told.volume.low < told.volume.value < told.volume.high


def test_volume_of_a_traced_phantom_holds_the_truth() -> None:
    found, true = traced(1), phantom(1).truth[0]
    told = measures(found)
    volume = float(np.trapezoid(np.pi / 4 * true.minor * true.major, true.z))
    assert abs(told.volume.value - volume) < 0.06 * volume
    assert told.volume.low * 0.98 < volume < told.volume.high * 1.02


def test_wall_in_all_directions_has_its_thinnest_place_where_the_canal_lies_nearest_the_surface() -> None:
    """A round canal 0.3 mm aside in a round root of 1.5 mm: 1.0 mm on that side, 1.6 on the other."""
    one = canal(np.outer(np.arange(0, 8, 0.1), [0.0, 0, 1]), minor=0.4, major=0.4)
    n, turn = one.lumen.size, np.linspace(0, 2 * np.pi, 32, endpoint=False)
    distance = -0.3 * np.cos(turn - np.pi) * -1 + np.sqrt(1.5**2 - (0.3 * np.sin(turn)) ** 2)
    surface = RootSurface(
        np.tile(distance, (n, 1)), np.full((n, 32), 0.02), np.tile([1.0, 0, 0], (n, 1)), np.tile([0.0, 1, 0], (n, 1))
    )
    thick, error, ways = replace(one, surface=surface).walls(40)
    k = int(np.argmin(thick))
    assert thick[k] == pytest.approx(1.0, abs=1e-6) and thick.max() == pytest.approx(1.6, abs=1e-6)
    assert abs(ways[k] @ [1.0, 0, 0]) == pytest.approx(1.0)
    assert error[k] == pytest.approx(np.hypot(0.02, 0.0075))


def test_directions_have_words_and_the_furcation_is_told() -> None:
    one = canal(np.outer(np.arange(0, 8, 0.1), [0.0, 0, 1]))
    far = canal(np.outer(np.arange(0, 8, 0.1), [0.0, 0, 1]) + [5.0, 0, 0])
    sides = {"mesial": (1.0, 0, 0), "buccal": (0, 1.0, 0)}
    assert towards(one, 30, np.array([-1.0, 0, 0]), **sides) == "distal"
    assert towards(one, 30, np.array([0.7, 0.7, 0]), **sides) == "mesiobuccal"
    assert towards(one, 30, np.array([-0.7, -0.7, 0]), **sides) == "distolingual"
    assert towards(one, 30, np.array([1.0, 0, 0]), others=(far,), **sides) == "furcation"
    assert towards(one, 30, np.array([1.0, 0, 0])) == ""
    least = thinnest(one, others=(far,))
    assert least is not None and least.towards == "furcation"


def test_distance_of_the_terminus_to_a_marked_structure_is_to_its_nearest_place() -> None:
    one = canal(np.outer(np.arange(0, 8, 0.1), [0.0, 0, 1]))
    told = measures(one, structures={"mandibular canal": [(-5, 0, -3), (5, 0, -3)], "sinus": [(0, 4, -3)]})
    assert told.distances["mandibular canal"].value == pytest.approx(3.0)
    assert told.distances["sinus"].value == pytest.approx(5.0)
    assert told.distances["sinus"].low < 5.0 < told.distances["sinus"].high


def test_bone_crest_and_enamel_junction_are_read_where_the_scan_shows_them() -> None:
    """Crest 7 mm and junction 9 mm above the root's end, at 0.25 mm voxels; without them none is told."""
    shape = CanalShape(apical=0.4, taper=0.06, bend=10)
    scanner = Scanner(voxel=0.25, blur=0.2, noise=60, oversample=2)
    made = make((shape,), RootShape(height=8.0, half=(1.3, 1.6), crest=7.0, cej=9.0))
    canal = as_found(made.truth[0], "canal")
    told = levels(render(made, scanner, 1, margin=1.5), canal)
    crest = float(np.interp(7.0, canal.lumen.centre[:, 2], canal.lumen.z))
    assert told.crest is not None and told.crest.value == pytest.approx(crest, abs=0.25)
    assert told.cej is not None and told.cej.low <= canal.length + 1.0 <= told.cej.high
    bare = make((shape,), RootShape(height=8.0, half=(1.3, 1.6)))
    none = levels(render(bare, scanner, 1, margin=1.5), as_found(bare.truth[0], "canal"))
    assert (none.crest, none.cej) == (None, None)
