"""Two canals of one root are found as two, though an isthmus or a floor joins them and one is much fainter."""

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from canalwright.imaging import find_canals
from canalwright.imaging.phantom.scan import CanalShape, RootShape, Scanner, make, render
from canalwright.imaging.tracing.apart import Apart, parted
from canalwright.imaging.vertucci import configuration
from tests.imaging import real_teeth
from tests.imaging.test_scan_click import click, tooth_scan


def test_the_mesiolingual_canal_of_a_real_first_molar_is_traced_beside_the_mesiobuccal_one() -> None:
    """At 0.2 mm voxels it is 0.16 to 0.23 mm wide: course within 0.15 mm, least width within half a voxel, end within 0.4 mm."""
    found = find_canals(tooth_scan("L6", 0.2), click("L6"))
    truth = real_teeth.canals("L6")
    assert len(found) == 3
    nearest = [int(np.argmin([np.linalg.norm(f.terminus - t.terminus) for t in truth])) for f in found]
    assert sorted(nearest) == [0, 1, 2]
    for canal, which in zip(found, nearest, strict=True):
        true = truth[which]
        assert np.linalg.norm(canal.terminus - true.terminus) < 0.4
        for z in (1.0, 2.0, 3.0, 5.0):
            i = int(np.searchsorted(true.lumen.z, z))
            away, at = cKDTree(canal.lumen.centre).query(true.lumen.centre[i])
            assert away < 0.15
            assert abs(canal.lumen.minor[at] - true.lumen.minor[i]) < 0.1


def test_what_lies_nearer_to_another_way_is_the_others_but_shared_ways_are_not_parted() -> None:
    """Two ways that run together above z = 5 and 2 mm apart below z = 3."""
    one = np.array([[0.0, 0, 10], [0, 0, 5], [-1, 0, 3], [-1, 0, 0]])
    other = one * [-1, 1, 1]
    apart = Apart(one, (other,))
    assert apart.shuts(np.array([[[1.0, 0, 1], [-1.0, 0, 1], [-0.2, 0, 1], [0.2, 0, 1], [0.0, 0, 8], [0.3, 0, 8]]])).tolist() == [
        [True, False, False, True, False, False]
    ]  # fmt: skip
    centre = np.array([[-1.0, 0, 1], [-1.0, 0, 1], [0.0, 0, 8]])
    assert apart.takes(centre, np.array([[1.0, 0, 1], [-0.5, 0, 1], [0.3, 0, 8]])).tolist() == [True, False, False]
    assert parted([one], 0) is None


def test_a_way_that_is_sure_keeps_what_is_its_own_though_the_fit_has_drifted_to_the_other() -> None:
    """A centre drawn half way to a second limb (x = 0) took half of it; judged from the way itself nothing of it is taken. A third
    canal that shares the own way, as below a join, takes nothing and hides nothing."""
    own, limb = np.array([[-1.0, 0, 10], [-1, 0, 0]]), np.array([[1.0, 0, 10], [1, 0, 5]])
    drifted, place = np.zeros((2, 3)) + [0, 0, 8], np.array([[0.3, 0, 8.0], [-0.3, 0, 8]])
    assert Apart(own, (limb,)).takes(drifted, place).tolist() == [False, False]
    assert Apart(own, (limb, own), sure=True).takes(drifted, place).tolist() == [True, False]


def test_a_second_limb_that_parts_and_joins_is_found_from_one_click() -> None:
    """Vertucci's type III at 0.15 mm voxels: one orifice, two limbs 1.4 mm apart, one foramen."""
    together = ((-np.inf, 2.5), (9.0, np.inf))
    one = CanalShape(apical=0.34, taper=0.02, ratio=(1.2, 1.2), aside=(0.0, 0.7), bend=8.0, turn=0.0)
    other = replace(one, aside=(0.0, -0.7), together=together)
    made = make((one, other), RootShape(height=11.0, half=(1.5, 2.3), crest=8.5, cej=10.0))
    scan = render(made, Scanner(voxel=0.15, blur=0.12, noise=50, oversample=2, tilt=(5.0, -4.0)), 3)
    true = made.truth[0]
    found = find_canals(scan, true.centre[70] + [0.9, 0.0, 0.0])
    told = configuration(found)
    assert (told.type, told.sequence) == ("III", (1, 2, 1))
    second = min(found, key=lambda c: c.lumen.centre[c.lumen.size // 2, 1])
    middle = second.lumen.centre[abs(second.lumen.centre[:, 2] - 6.0) < 0.5]
    away, _ = cKDTree(made.truth[1].centre).query(middle)
    assert away.max() < 0.1
    assert any("no oval tube" in reason for canal in found for reason in canal.quality.reasons), "the joins are told"
