"""A phantom's truth is the truth: its greys, shapes and measures agree, and a seed gives the same scan again."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from canalwright.imaging.phantom.fill import Tube, fill
from canalwright.imaging.phantom.mesh import Mesh, filled
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, random_shape, render
from tests.imaging.scans import phantom, scan_of


def test_same_seed_same_scan_other_seed_other_noise() -> None:
    scanner = Scanner(voxel=0.4, blur=0.3, oversample=2)
    one, two, other = (render(phantom(1), scanner, seed) for seed in (4, 4, 5))
    assert np.array_equal(one.voxels, two.voxels)
    assert one.voxels.shape != other.voxels.shape or not np.array_equal(one.voxels, other.voxels)


def test_a_straight_round_tube_fills_its_own_volume() -> None:
    """Share of cells times their volume against pi r^2 h, to a thousandth."""
    line = np.column_stack([np.zeros(201), np.zeros(201), np.linspace(-1, 9, 201)])
    root = Tube.along(line, np.full(201, 4.0), np.full(201, 4.0), np.zeros(201))
    canal = Tube.along(line, np.full(201, 0.7), np.full(201, 0.7), np.zeros(201))
    cell = 0.04
    size = np.array([120, 120, 50])
    start = np.array([-2.4, -2.4, 1.0]) + cell / 2
    lumen, inside, _ = fill(root, [canal], start, np.eye(3) * cell, size)
    assert lumen.sum() * cell**3 == pytest.approx(np.pi * 0.35**2 * 2.0, rel=2e-3)
    assert inside.sum() * cell**3 == pytest.approx(np.pi * 2.0**2 * 2.0, rel=1e-3)


def test_straight_canal_in_a_round_root_has_the_wall_that_subtraction_gives() -> None:
    shape = CanalShape(apical=0.3, taper=0.0, ratio=(1.0, 1.0), aside=(0.2, 0.0), bend=0.0)
    made = make((shape,), RootShape(half=(1.5, 1.5), growth=0.0))
    true = made.truth[0]
    middle = np.abs(true.z - 6) < 2
    assert true.wall[middle] == pytest.approx(1.5 - 0.2 - 0.15, abs=1e-3)
    assert true.minor[middle] == pytest.approx(0.3)
    cap = 1.5 - 1.5 * np.sqrt(1 - (0.2 / 1.5) ** 2)
    assert true.length == pytest.approx(12.0 - cap, abs=2e-3)
    assert true.terminus == pytest.approx([0.2, 0.0, cap], abs=2e-3)


def test_a_canal_opens_to_its_mouth_and_ends_at_its_rim_and_one_that_turns_aside_leaves_beside_the_tip() -> None:
    """In closed form: the rim of radius a on a sphere of radius 1.5 lies 1.5 - sqrt(1.5^2 - a^2) above its tip."""
    shape = CanalShape(apical=0.3, taper=0.0, ratio=(1.0, 1.0), aside=(0.0, 0.0), bend=0.0, mouth=3.0, flare=0.8)
    root = RootShape(half=(1.5, 1.5), growth=0.0)
    true = make((shape,), root).truth[0]
    assert 0.7 < true.minor[0] < 0.9
    radius = true.minor[0] / 2
    assert true.terminus[2] == pytest.approx(1.5 - np.sqrt(1.5**2 - radius**2), abs=0.01)
    assert true.minor[true.z > 0.9] == pytest.approx(0.3)
    aside = make((replace(shape, mouth=1.0, swerve=(0.6, 1.2), swerves=90.0),), root).truth[0]
    assert aside.terminus[1] > 0.3
    assert aside.centre[aside.z > 1.4] == pytest.approx(aside.centre[aside.z > 1.4] * [0, 0, 1], abs=1e-6)


def test_greys_are_those_of_the_materials_far_from_edges() -> None:
    scan, true = scan_of(1, noise=1e-3), phantom(1).truth[0]
    wide = int(np.argmax(true.minor))
    index = np.round(scan.to_index(true.centre[wide])).astype(int)
    assert scan.voxels[tuple(index[::-1])] < 250
    side = true.centre[60] + true.axis[60] * (true.major[60] / 2 + 0.6)
    assert scan.voxels[tuple(np.round(scan.to_index(side)).astype(int)[::-1])] == pytest.approx(1700, abs=40)


def test_noise_and_streaks_are_as_asked_for() -> None:
    shape = random_shape(2)
    quiet = render(make(*shape), Scanner(voxel=0.4, oversample=2, noise=0.0), 3)
    loud = render(make(*shape), Scanner(voxel=0.4, oversample=2, noise=80.0), 3)
    assert np.std(loud.voxels - quiet.voxels) == pytest.approx(80, rel=0.03)
    metal = render(make(*shape), Scanner(voxel=0.4, oversample=2, noise=0.0, streak=300.0), 3)
    assert metal.voxels.max() == 8000
    assert np.abs(metal.voxels - quiet.voxels)[0].max() < 10 < np.abs(metal.voxels - quiet.voxels)[-1].max()


def test_two_canals_join_where_they_were_told_to() -> None:
    shapes = (CanalShape(aside=(0.0, 0.6)), CanalShape(aside=(0.0, -0.9), join=3.0))
    made = make(shapes, RootShape(half=(1.6, 2.4)))
    one, two = made.truth
    apart = np.array([np.linalg.norm(one.centre - c, axis=1).min() for c in two.centre])
    assert apart[(two.z < 2.0)].max() < 0.05
    assert apart[two.z > 8].min() > 1.0


def test_closed_mesh_fills_its_volume_and_an_open_one_leaks_nothing() -> None:
    """A ball with a missing triangle: the columns through the hole are closed from their neighbours."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=0.6)
    low, cell, shape = np.full(3, -0.7), 0.05, (28, 28, 28)
    for faces in (ball.faces, ball.faces[1:]):
        share = filled(Mesh(ball.vertices, faces), low, cell, shape)
        assert share.sum() * cell**3 == pytest.approx(ball.volume, rel=5e-3)
