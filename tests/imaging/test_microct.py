"""Fine scans show lateral canals, deltas and isthmuses: where, how wide, to which side; a blind end and a bare root show none."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from canalwright.imaging import FoundCanal, FoundPortal, Scan, open_scan, trace
from canalwright.imaging.phantom.extracted import AIR, ZERO, extracted, in_memory, write_stack
from canalwright.imaging.phantom.portals import BranchShape, IsthmusShape, build, delta
from canalwright.imaging.phantom.scan import CanalShape, Greys, Phantom, RootShape, Scanner, make, render
from canalwright.imaging.tracing.block import Block, take
from canalwright.imaging.tracing.branches import find_portals, single
from canalwright.imaging.tracing.path import Tones, tones_of
from canalwright.imaging.tracing.sheet import thickness
from canalwright.imaging.tracing.straight import straighten
from tests.imaging.scans import as_found, scan_of, traced

VOXEL = 0.05
TONES = Tones(dentine=1700.0, lumen=-1000.0, noise=60.0, soft=600.0)
ROOT = RootShape(height=4.0, half=(0.9, 1.0), growth=0.03)
CANAL = CanalShape(apical=0.3, taper=0.04, ratio=(1.2, 1.3), aside=(0.0, 0.0), bend=8.0, curved=3.0)
BRANCHES = (
    BranchShape(1.6, 0.14, towards=10.0),
    BranchShape(2.6, 0.12, towards=170.0),
    BranchShape(2.2, 0.12, towards=80.0, blind=True),
)


@cache
def seen() -> tuple[Phantom, Scan, FoundCanal]:
    made = make((CANAL,), ROOT, branches=BRANCHES)
    scan = render(made, Scanner(VOXEL, 0.035, 50.0, oversample=2), 1, margin=0.4)
    return made, scan, trace(scan, made.truth[0].orifice, made.truth[0].terminus)


def test_lateral_canals_are_found_where_they_are_and_as_wide_as_they_are() -> None:
    """0.12 and 0.14 mm branches at 0.05 mm voxels: width within two stated errors and a quarter voxel, exit within 0.2 mm."""
    made, scan, canal = seen()
    found = find_portals(scan, canal)
    true = [p for p in made.portals if p.kind != "blind"]
    assert len(found.portals) == len(true)
    for portal, real in zip(found.portals, true, strict=True):
        assert portal.kind == "lateral canal"
        assert abs(portal.diameter - real.diameter) < min(0.25 * VOXEL, 2 * portal.diameter_error)
        assert np.linalg.norm(portal.path[-1] - real.exit) < 0.2
        assert portal.direction @ (real.exit - real.start) > 0.9 * np.linalg.norm(real.exit - real.start)
        z = canal.lumen.z[int(np.argmin(np.linalg.norm(canal.lumen.centre - real.start, axis=1)))]
        assert portal.z == pytest.approx(z, abs=0.2)


def test_one_mouth_in_two_parts_is_one_branch_and_two_exits_are_two() -> None:
    """Noise at the root's surface parts a mouth; a delta's exits lie farther apart than they are wide."""

    def out(x: float, length: float) -> FoundPortal:
        return FoundPortal(1.7, np.array([[0.0, 0.0, 1.7], [x, 0.8, 0.4]]), 0.107, 0.007, length, 0.1)

    shorter, beside, other = out(0.0, 1.82), out(0.18, 1.91), out(0.4, 1.9)
    assert single([beside, other, shorter]) == [shorter, other]


def test_a_root_without_branches_has_none() -> None:
    made, _, canal = seen()
    plain = Phantom(made.root, made.canals, made.truth, made.ligament, made.greys)
    scan = render(plain, Scanner(VOXEL, 0.035, 50.0, oversample=2), 2, margin=0.4)
    assert find_portals(scan, canal).portals == ()


def test_portals_near_the_terminus_make_a_delta_and_phantoms_tell_their_truth() -> None:
    made = make((CANAL,), ROOT, branches=delta(1.0, 3))
    assert [p.kind for p in made.portals] == ["delta"] * 3
    for portal in made.portals:
        assert abs(float(made.root.level(portal.exit[None])[0])) < 0.02
    pair = (CANAL, replace(CANAL, aside=(0.0, 0.8)))
    two = make(pair, RootShape(height=4.0, half=(0.9, 1.6)))
    side, truth = build((), (IsthmusShape(2.0, 3.0, 0.1),), two.canals, two.root)
    hollow = np.full((20, 40, 20), 1e9, np.float32)
    start, cell = truth[0].start - [0.2, 0.1, 0.2], 0.025
    side.carve(hollow, start, np.eye(3) * cell)
    middle = hollow[8, :, 8]
    assert (middle < 0).sum() > 20, "the sheet runs from canal to canal"
    assert hollow[8, 20].min() == pytest.approx(-0.05, abs=0.013)


def test_a_dry_root_end_in_air_shows_its_delta_and_its_isthmus() -> None:
    """Extracted and dry: three exits of 0.1 mm in the last 2 mm, and a sheet of 0.1 mm between the two canals."""
    pair = (replace(CANAL, aside=(0.0, 0.7)), replace(CANAL, aside=(0.0, -0.7)))
    fan = (
        BranchShape(1.5, 0.1, 40.0, 30.0, 0, "delta"),
        BranchShape(1.3, 0.1, 90.0, 30.0, 0, "delta"),
        BranchShape(1.7, 0.1, 140.0, 30.0, 0, "delta"),
    )
    root = RootShape(height=4.5, half=(1.0, 1.9), growth=0.03)
    made = make(pair, root, Greys(lumen=AIR), branches=fan, isthmuses=(IsthmusShape(2.6, 3.4, 0.1),))
    scan = in_memory(made, Scanner(VOXEL, 0.035, 50.0, oversample=2), 1)
    one = trace(scan, made.truth[0].orifice, made.truth[0].terminus, name="one")
    first = find_portals(scan, one, [as_found(made.truth[1], "two")])
    exits = [p for p in first.portals if p.kind == "delta"]
    true = [p for p in made.portals if p.kind == "delta"]
    assert len(exits) == 3
    for real in true:
        near = min(exits, key=lambda p: float(np.linalg.norm(p.path[-1] - real.exit)))
        assert np.linalg.norm(near.path[-1] - real.exit) < 0.25
        assert abs(near.diameter - real.diameter) < max(2 * near.diameter_error, 0.25 * VOXEL)
    (sheet,) = [p for p in first.portals if p.kind == "isthmus"]
    assert sheet.side == "two" and abs(sheet.diameter - 0.1) < min(1.6 * sheet.diameter_error, 0.25 * VOXEL)
    assert 2.0 < sheet.z < 3.6


@settings(max_examples=12, deadline=None)
@given(thick=st.floats(0.5, 4.0), lean=st.floats(-0.4, 0.4), wide=st.sampled_from([2.0, 9.0]))
def test_a_sheet_is_as_thick_as_it_was_made_whatever_the_blur_makes_of_it(
    thick: float, lean: float, wide: float
) -> None:
    """A leaning slit of half a voxel to four, exactly blurred: within a twentieth of a voxel; seen over two voxels only, it is doubted."""
    voxel, blur = 0.04, 0.8 * 0.04
    z, y, x = np.indices((44, 44, 44)) - 21.5
    off = voxel * (x * np.cos(lean) - z * np.sin(lean))
    half = thick * voxel / 2
    hole = ndtr((off + half) / blur) - ndtr((off - half) / blur)
    block = Block((1700 - 2700 * hole).astype(np.float32), np.diag([voxel] * 3 + [1.0]))
    kept = (hole > 0.15) & (np.abs(y) < wide / 2) & (np.abs(z) < 9)
    nodes = voxel * (np.argwhere(kept)[:, ::-1])
    told, error = thickness(block, TONES, nodes, hole[kept], voxel, np.array([0.0, 1, 0]), np.array([0.0, 0, 1]))
    assert abs(told / voxel - thick) < 0.05
    assert (error > 0.2 * told) is (wide < 3)


def test_layers_written_as_slices_are_read_back_as_the_whole(tmp_path: Path) -> None:
    """A scan made layer by layer, kept as TIFF slices, is what the same scan in memory is, to the rounding of its greys."""
    made = make((CANAL,), ROOT, Greys(lumen=AIR))
    scanner = Scanner(0.15, 0.1, 20.0, oversample=2)
    whole = in_memory(made, scanner, 3)
    layers = extracted(made, scanner, 3)
    read = open_scan(write_stack(layers, tmp_path / "stack"), voxel=0.15).whole()
    assert read.shape == layers.shape == whole.shape
    assert np.abs(read.array - ZERO - whole.array).max() <= 0.51
    assert whole.to_patient(np.zeros(3)) == pytest.approx(layers.affine[:3, 3])


def test_a_large_crop_is_averaged_as_it_is_read() -> None:
    """Half a million nodes at most: the same greys as the mean over cubes of the whole, at their true place."""
    _, scan, canal = seen()
    points = np.array([canal.orifice, canal.terminus])
    whole, small = take(scan, points, 1.0), take(scan, points, 1.0, most=40_000)
    factor = round(small.voxel / whole.voxel)
    assert factor >= 2 and small.grey.size <= 40_000
    nz, ny, nx = small.grey.shape
    part = whole.grey[: nz * factor, : ny * factor, : nx * factor]
    mean = part.reshape(nz, factor, ny, factor, nx, factor).mean(axis=(1, 3, 5))
    assert np.allclose(mean, small.grey, atol=1e-2)
    assert small.to_patient(np.zeros(3)) == pytest.approx(whole.to_patient(np.full(3, (factor - 1) / 2)))


def test_what_of_the_root_lies_outside_a_tilted_volume_is_told_and_the_rest_is_seen() -> None:
    """A turned grid cut off beside the root: its corner is lost, no station of the rest is blank."""
    scan, canal = scan_of(1), traced(1)
    tones = tones_of(take(scan, np.array([canal.orifice, canal.terminus]), 2.0), canal.orifice, canal.terminus)
    whole = straighten(scan, canal, tones)
    assert whole.unseen == 0.0
    nx = scan.shape[2]
    far = int(np.ceil(scan.to_index(canal.lumen.centre)[:, 0].max() + 0.8 / scan.spacing[0]))
    assert far < nx - 4
    cut = replace(scan, voxels=scan.voxels[:, :, :far])
    part = straighten(cut, canal, tones)
    assert 0.01 < part.unseen < 0.5
    both = part.skin > 0
    assert both.any(axis=(1, 2)).all()
    assert np.abs(part.dark - whole.dark)[both & (whole.skin > 0.3)].mean() < 0.02
    assert "lies outside the volume" in find_portals(cut, canal).notes[-1]
