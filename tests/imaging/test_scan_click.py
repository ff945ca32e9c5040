"""One click in a tooth finds its canals, or says that there is none to find."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import tifffile
from scipy.ndimage import distance_transform_edt, gaussian_filter

from canalwright.imaging import Scan, ScanError, find_canals, measure_tooth
from canalwright.imaging.phantom.mesh import scan_of as mesh_scan
from canalwright.imaging.phantom.scan import Scanner
from canalwright.imaging.tooth.bone import refuse_bone
from canalwright.imaging.tooth.outline import find_tooth
from canalwright.imaging.tooth.pick import pick_tooth
from canalwright.imaging.tooth.ways import canal_ways
from tests.imaging import real_teeth
from tests.imaging.real_scans import mesh
from tests.imaging.scans import phantom, scan_of
from tests.support.shared_data import shared_data


@cache
def tooth_scan(name: str, voxel: float) -> Scan:
    parts = [mesh("mandible_teeth", f"Tooth_{name}_{part}.stl") for part in ("Pulp", "Dentin", "Enamel")]
    return mesh_scan(*parts, scanner=Scanner(voxel=voxel, blur=0.8 * voxel, noise=60, oversample=2))


def click(name: str) -> np.ndarray:
    """Half a millimetre beside the canal, three quarters up the root: in dentine."""
    lumen = real_teeth.canals(name)[0].lumen
    k = int(0.75 * lumen.size)
    return np.asarray(lumen.centre[k] + lumen.axis[k] * (lumen.major[k] / 2 + 0.5))


def test_real_canine_from_one_click() -> None:
    truth = real_teeth.canals("L3")[0]
    (found,) = find_canals(tooth_scan("L3", 0.2), click("L3"))
    assert np.linalg.norm(found.terminus - truth.terminus) < 0.4
    assert found.length > 14
    assert found.crown[2] > 0.9


def test_real_first_molar_has_three_canals_with_their_ends() -> None:
    """Ways before tracing: three, each within 1.5 mm of a different true terminus, which tracing then finds."""
    tooth = find_tooth(tooth_scan("L6", 0.2), click("L6"))
    ends = [way.terminus for way in canal_ways(tooth)]
    truth = real_teeth.canals("L6")
    nearest = [int(np.argmin([np.linalg.norm(end - t.terminus) for t in truth])) for end in ends]
    assert sorted(nearest) == [0, 1, 2]
    for end, which in zip(ends, nearest, strict=True):
        assert np.linalg.norm(end - truth[which].terminus) < 1.5


@pytest.mark.parametrize("shift", [-0.05, 0.04])
def test_the_three_canals_are_seen_though_the_grey_of_dentine_was_taken_a_little_wrong(shift: float) -> None:
    """An isthmus or a speck at one darkness hides or makes up an end of the pulp; at several it does not."""
    tooth = find_tooth(tooth_scan("L6", 0.2), click("L6"))
    dark = np.clip(tooth.dark + shift, 0, 1)
    ways = canal_ways(replace(tooth, dark=dark, pulp=tooth.pulp & (dark > 0.27)))
    truth = real_teeth.canals("L6")
    nearest = [int(np.argmin([np.linalg.norm(way.terminus - t.terminus) for t in truth])) for way in ways]
    assert sorted(nearest) == [0, 1, 2]


def test_a_click_in_bone_or_in_nothing_finds_no_tooth() -> None:
    scan = scan_of(1)
    low, high = scan.extent
    with pytest.raises(ScanError):
        find_canals(scan, low + 0.3)
    with pytest.raises(ScanError, match="outside the volume"):
        find_canals(scan, high + 5)
    even = Scan(
        np.full((60, 60, 60), 5.0, np.float32) + np.random.default_rng(0).normal(0, 1, (60, 60, 60)),
        np.diag([0.2, 0.2, 0.2, 1]),
    )
    with pytest.raises(ScanError, match=r"no bright tooth|hard tissue|bright body|pulp"):
        find_canals(even, np.full(3, 6.0))


def lump(spacing: float = 0.3, *, at: tuple[float, ...] = (0.0,)) -> Scan:
    """Solid bright rods 3 mm thick and 12 mm long in air, at distances `at` (mm) along x, with noise: teeth without a pulp."""
    z, y, x = np.indices((50, 50, 100)) * spacing
    grey = np.full(z.shape, -1000.0)
    for shift in at:
        grey[(np.hypot(x - 7 - shift, y - 7) < 2.2) & (z > 1.5) & (z < 13.5)] = 1700
    noise = np.random.default_rng(1).normal(0, 40, z.shape)
    return Scan((gaussian_filter(grey, 0.6) + noise).astype(np.float32), np.diag([spacing, spacing, spacing, 1.0]))


@pytest.mark.parametrize(
    ("click", "say"),
    [
        ((7.0, 7.0, 7.0), "no pulp found in the tooth"),
        ((12.5, 7.0, 7.0), "no hard tissue within 2.5 mm|no bright tooth"),
        ((25.0, 7.0, 7.0), "no bright tooth about the point|no hard tissue"),
        ((50.0, 7.0, 7.0), "outside the volume"),
    ],
)
def test_a_click_in_air_or_in_a_solid_body_makes_up_no_canal(click: tuple[float, float, float], say: str) -> None:
    with pytest.raises(ScanError, match=say):
        measure_tooth(lump(), click)


@pytest.mark.parametrize(
    ("factor", "say"),
    [(4.0, "0.5 mm at most to trace a canal"), (0.2, "mm long; allowed: 7 to 34 mm|no pulp|no canal|no hard tissue")],
)
def test_a_wrong_voxel_size_is_caught_at_the_click(factor: float, say: str) -> None:
    """The phantom's root is 12 mm long: five times smaller it is no tooth, four times larger its voxels are too coarse."""
    affine = scan_of(1).affine.copy()
    affine[:3] *= factor
    true = phantom(1).truth[0]
    click = true.centre[60] + true.axis[60] * (true.major[60] / 2 + 0.5)
    with pytest.raises(ScanError, match=say):
        measure_tooth(replace(scan_of(1), affine=affine), click * factor)


def test_metal_all_over_gives_no_canal_or_a_poor_one() -> None:
    scan, true = scan_of(1), phantom(1).truth[0]
    click = true.centre[60] + true.axis[60] * (true.major[60] / 2 + 0.5)
    chance = gaussian_filter(np.random.default_rng(4).normal(size=scan.shape), 1.5)
    grey = np.where(chance > 0.03, 8000.0, np.asarray(scan.voxels, float)).astype(np.float32)
    try:
        found = measure_tooth(replace(scan, voxels=grey), click).canals
    except ScanError as error:
        assert "\n" not in str(error)
    else:
        assert all(canal.quality.score < 0.5 and canal.quality.reasons for canal in found)


def test_without_a_click_the_one_tooth_is_found_or_the_user_is_asked() -> None:
    (where, *_) = pick_tooth(lump())
    assert np.hypot(*(where[:2] - 7.0)) < 1.5 and 3 < where[2] < 12
    with pytest.raises(ScanError, match=r"2 bright bodies as large as a tooth, about .*--click"):
        pick_tooth(lump(at=(0.0, 12.0)))
    with pytest.raises(ScanError, match=r"100 mm long and may hold several teeth.*--click"):
        pick_tooth(replace(lump(), affine=np.diag([1.0, 1.0, 1.0, 1.0])))
    with pytest.raises(ScanError, match="all greys are the same"):
        pick_tooth(replace(lump(), voxels=np.full((50, 50, 100), 7.0, np.float32)))
    with pytest.raises(ScanError, match="no bright body as large as a tooth"):
        pick_tooth(replace(lump(), voxels=np.random.default_rng(0).normal(size=(50, 50, 100)).astype(np.float32)))


def test_real_crown_without_a_canal_is_refused_even_when_its_slice_is_stacked() -> None:
    """One real slice of a crown, repeated to a block with an invented voxel size: cracks and a notch are no canal."""
    one = tifffile.imread(shared_data("synchrotron_crown_slices", "fbp_two_slices_u16.tif"))[0]
    block = np.repeat(one[None, ::4, ::4], 100, axis=0)
    scan = Scan(block, np.diag([0.08, 0.08, 0.08, 1.0]))
    inside = np.argwhere(
        distance_transform_edt(gaussian_filter(block[0].astype(float), 1) > np.quantile(block, 0.8)) > 3
    )
    j, i = inside[len(inside) // 2]
    with pytest.raises(ScanError):
        measure_tooth(scan, (i * 0.08, j * 0.08, 4.0))


def test_where_in_a_tooth_was_clicked_does_not_move_its_canal() -> None:
    """In the pulp, in dentine low and high, and in the ligament: one grid is laid, and the ways on it are the same."""
    true = phantom(1).truth[0]
    clicks = [true.centre[60], *(true.centre[k] + true.axis[k] * (true.major[k] / 2 + 0.5) for k in (30, 90))]
    ways = [canal_ways(find_tooth(scan_of(1), click)) for click in clicks]
    assert [len(found) for found in ways] == [1, 1, 1]
    for (way,) in ways[1:]:
        assert np.linalg.norm(way.orifice - ways[0][0].orifice) < 0.05
        assert np.linalg.norm(way.terminus - ways[0][0].terminus) < 0.05


@pytest.mark.parametrize("aside", [[0.0, -3.2, 0.0], [3.0, 0.0, -1.0]])
def test_a_click_in_the_bone_beside_a_root_is_refused_and_says_where_it_lies(aside: list[float]) -> None:
    with pytest.raises(ScanError, match=r"the point is in no tooth: the nearest one is \d\.\d mm away; click inside"):
        find_canals(scan_of(1), phantom(1).truth[0].centre[45] + aside)


def test_a_root_much_brighter_than_what_was_clicked_tells_of_bone() -> None:
    """Bone and root together make one body, whose hollow is the last of a real canal: traced, it looked sound."""
    tooth = find_tooth(scan_of(1), phantom(1).truth[0].centre[60])
    ways = canal_ways(tooth)
    refuse_bone(tooth, ways)
    with pytest.raises(ScanError, match=r"it is in bone \(grey 900\) beside a root \(grey 1[67]\d\d\)"):
        refuse_bone(replace(tooth, dentine=900.0, contrast=460.0), ways)
