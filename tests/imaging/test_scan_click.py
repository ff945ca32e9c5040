"""One click in a tooth finds its canals, or says that there is none to find."""

from functools import cache

import numpy as np
import pytest

from canalwright.imaging import Scan, ScanError, find_canals
from canalwright.imaging.phantom.mesh import scan_of as mesh_scan
from canalwright.imaging.phantom.scan import Scanner
from canalwright.imaging.tooth.canals import canal_ways
from canalwright.imaging.tooth.outline import find_tooth
from tests.imaging import real_teeth
from tests.imaging.real_scans import mesh
from tests.imaging.scans import scan_of


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
