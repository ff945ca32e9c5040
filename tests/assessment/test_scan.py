"""A filling read from two scans: registration that is checked and refused, volumes, voids, what is not seen."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from canalwright.assessment import Assessment, Sight, scan
from canalwright.imaging.errors import ScanError
from canalwright.imaging.phantom.filling import Branch, Bubble, Filling, branch_line
from canalwright.imaging.phantom.pair import CONE_BEAM, Artefact, Pair, pair
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make
from canalwright.imaging.volume import Scan
from tests.assessment import study

BUBBLE = Bubble(2.6, 0.4)


@cache
def _tooth(kind: str, puff: float = 0.0) -> tuple[Pair, scan.CanalLine]:
    shape = CanalShape(apical=0.5, taper=0.06, ratio=(1.1, 1.2), bend=8.0, curved=3.0, aside=(0.0, 0.0))
    made = make((shape,), RootShape(height=4.5, half=(1.0, 1.1), growth=0.03))
    branches = (Branch(3.4, 0.25, 90.0, 0.6),)
    if kind == "micro-CT":
        scanner, artefact = Scanner(voxel=0.075, blur=0.05, noise=50.0, oversample=2), Artefact()
    else:
        scanner, artefact = Scanner(voxel=0.15, blur=0.12, noise=120.0, oversample=3), CONE_BEAM
    shots = pair(made, Filling(0.0 if puff else 0.6, 4.0, (BUBBLE,), branches, puff), scanner, artefact, 5)
    true = made.truth[0]
    start, way, _ = branch_line(true, branches[0])
    path = np.array([start, start + 1.5 * way])
    line = scan.CanalLine(
        true.z, true.centre, true.minor, true.major, true.wall, (scan.BranchLine("lateral canal", 3.4, path, 0.25),)
    )
    return shots, line


@cache
def _read(kind: str) -> Assessment:
    return _labelled(kind).assessment


@cache
def _labelled(kind: str) -> scan.ScanReading:
    shots, line = _tooth(kind)
    return scan.read(shots.before, shots.after, line, basis=kind, tooth=11, canal="only")


def test_the_later_scan_is_brought_onto_the_earlier_within_a_fifth_of_a_voxel() -> None:
    shots, line = _tooth("micro-CT")
    found = scan.register(shots.before, shots.after, line)
    true = line.centre @ shots.turn.T + shots.shift
    mine = line.centre @ found.turn.T + found.shift
    assert np.linalg.norm(true - mine, axis=1).max() < 0.2 * 0.075
    assert found.residual_voxels < 0.5


def test_a_long_smooth_root_is_not_refused_for_what_its_coronal_half_cannot_tell() -> None:
    """Alone its coronal half slides along the axis by more than a voxel; the whole lies right to a third of one."""
    made = make((CanalShape(apical=0.35, taper=0.05, bend=12.0, curved=5.0),), RootShape(height=11.0))
    shots = pair(made, Filling(0.8, 10.0), Scanner(voxel=0.15, blur=0.12, noise=60.0, oversample=2), CONE_BEAM, 5)
    true = made.truth[0]
    line = scan.CanalLine(true.z, true.centre, true.minor, true.major, true.wall)
    found = scan.register(shots.before, shots.after, line)
    off = line.centre @ (found.turn - shots.turn).T + found.shift - shots.shift
    assert np.linalg.norm(off, axis=1).mean() < 0.05
    assert found.residual_voxels < 0.8


def test_a_tooth_that_moved_while_it_was_scanned_is_refused() -> None:
    """The coronal half of the later scan lies three voxels beside where the apical half puts it: half of that is past one voxel."""
    shots, line = _tooth("micro-CT")
    torn = np.array(shots.after.voxels)
    middle = torn.shape[0] // 2
    torn[middle:] = np.roll(torn[middle:], 3, axis=2)
    after = Scan(torn, shots.after.affine, "CT", path="moved", slope=shots.after.slope, intercept=shots.after.intercept)
    with pytest.raises(scan.RegistrationError, match=r"halves of the root .* apart|likeness"):
        scan.register(shots.before, after, line)


def test_a_scan_in_a_frame_of_its_own_is_found_by_its_hard_tissue() -> None:
    """A specimen scanned again, or a patient in another visit: the recorded places lie 60 mm apart and mean nothing."""
    shots, line = _tooth("cone-beam scan")
    far = np.array([60.0, -20.0, 5.0])
    affine = shots.after.affine.copy()
    affine[:3, 3] += far
    found = scan.register(shots.before, replace(shots.after, affine=affine), line)
    off = line.centre @ (found.turn - shots.turn).T + found.shift - shots.shift - far
    assert np.linalg.norm(off, axis=1).mean() < 0.5 * 0.15


def test_filling_beyond_the_root_is_told_with_its_volume() -> None:
    shots, line = _tooth("micro-CT", 0.5)
    found = scan.read(shots.before, shots.after, line, basis="micro-CT", tooth=11, canal="only").assessment
    assert found.beyond.sight is Sight.THERE
    assert found.beyond.reach is not None
    assert found.beyond.reach.low <= 0.9 * 0.5 <= found.beyond.reach.high, (
        "a ball of half a millimetre, a tenth of it inside"
    )
    assert _read("micro-CT").beyond.sight is not Sight.THERE


def test_another_basis_is_refused() -> None:
    shots, line = _tooth("cone-beam scan")
    with pytest.raises(ScanError, match="micro-CT or cone-beam scan"):
        scan.read(shots.before, shots.after, line, basis="film", tooth=11, canal="only")


def test_another_tooth_is_refused_in_one_line() -> None:
    shots, line = _tooth("cone-beam scan")
    rng = np.random.default_rng(1)
    other = Scan(
        rng.normal(500, 300, shots.after.shape).astype(np.float32), shots.after.affine, "CT", path="other tooth"
    )
    with pytest.raises(scan.RegistrationError, match=r"do not fit together|does not cover") as caught:
        scan.register(shots.before, other, line)
    assert "\n" not in str(caught.value) and "other tooth" in str(caught.value)


def test_micro_ct_tells_end_void_and_volume() -> None:
    found = _read("micro-CT")
    assert found.to_terminus.value == pytest.approx(0.6, abs=0.1)
    assert found.to_terminus.low <= 0.6 <= found.to_terminus.high
    near = [v for v in found.voids if abs(v.z - BUBBLE.z) < 0.2]
    assert len(near) == 1
    assert near[0].volume.value == pytest.approx(BUBBLE.volume, rel=0.3)
    assert near[0].volume.low <= BUBBLE.volume <= near[0].volume.high


def test_stations_share_out_the_lumen() -> None:
    found, (_, line) = _read("micro-CT"), _tooth("micro-CT")
    area = np.pi / 4 * line.minor * line.major
    for s in found.stations[1:-1]:
        assert s.filled.value + s.void.value + s.unfilled.value == pytest.approx(1.0, abs=0.06)
        here = (line.z >= s.low) & (line.z <= s.high + 1e-9)
        assert s.volume is not None
        assert s.volume.value == pytest.approx(float(np.trapezoid(area[here], line.z[here])), rel=0.08)


def test_labels_show_filling_void_and_what_was_left_empty() -> None:
    """Against the true solid: the void's middle, the stretch below the filling's end, its volume within a fifth."""
    mask, (_, line) = _labelled("micro-CT").labels, _tooth("micro-CT")

    def at(z: float) -> int:
        place = np.array([np.interp(z, line.z, c) for c in line.centre.T])
        i, j, k = np.round(mask.to_index(place)).astype(int)
        return int(mask.voxels[k, j, i])

    told = [scan.NAMES[at(z) - 1] if at(z) else "" for z in (0.3, 1.5, BUBBLE.z, 4.3)]
    assert told == ["unfilled", "filling", "void", "canal"]
    area = np.pi / 4 * line.minor * line.major
    here = (line.z >= 0.6) & (line.z <= 4.0)
    true = float(np.trapezoid(area[here], line.z[here])) - BUBBLE.volume
    filled = float((np.asarray(mask.voxels) == 2).sum() * np.prod(mask.spacing))
    assert filled == pytest.approx(true, rel=0.2)


def test_a_branch_is_seen_by_micro_ct_and_not_seen_by_cone_beam() -> None:
    (fine,), (coarse,) = _read("micro-CT").portals, _read("cone-beam scan").portals
    assert fine.sight is Sight.THERE and fine.filled is not None
    assert fine.filled.low <= 0.6 <= fine.filled.high
    assert coarse.sight is not Sight.ABSENT


def test_a_cone_beam_scan_never_says_that_small_voids_are_absent() -> None:
    found = _read("cone-beam scan")
    assert found.not_seen[0].startswith("voids smaller than")
    assert found.smallest_void.value > 0.2
    assert found.void_share is not None and found.void_share.high > 0.01
    assert any("halo" in what for what in found.not_seen)


def test_an_unfilled_canal_is_refused() -> None:
    shots, line = _tooth("cone-beam scan")
    with pytest.raises(ScanError, match=r"stand apart in grey|no filling"):
        scan.read(shots.before, shots.before, line, basis="cone-beam scan", tooth=11, canal="only")


def test_the_study_holds_rows_of_both_kinds() -> None:
    rows = study.stored()["scans"]
    assert {r["kind"] for r in rows} == {"micro-CT", "cone-beam scan"}
