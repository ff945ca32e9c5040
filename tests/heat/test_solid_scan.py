"""Protects the way from meshes and labels to the solid: the same root, seen three ways, heats the same."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from canalwright.anatomy.lumen import Lumen
from canalwright.heat import example, solid
from canalwright.heat.solid import SolidStory
from canalwright.heat.solid.moved import moved
from canalwright.imaging.mesh.surfaces import make_surface
from canalwright.imaging.volume import Scan
from tests.heat.test_solid import COARSE, SHORT
from tests.imaging.tooth_meshes import Tube


@cache
def measured() -> Lumen:
    """A canal along the z axis of the world, in a root of constant wall."""
    return example.lumen(wall=1.5)


def labels(voxel: float = 0.15) -> tuple[np.ndarray, float, list[float]]:
    lumen, low = measured(), -3.0
    side = np.arange(low, 3.0 + voxel / 2, voxel)
    z = np.arange(-1.0, 17.0, voxel)
    r = np.hypot(side[None, :, None], side[None, None, :]) + 0 * z[:, None, None]
    bore = np.interp(z, lumen.z, lumen.minor / 2)[:, None, None]
    within = (z >= 0)[:, None, None] & (z <= 17)[:, None, None]
    out = np.full(r.shape, 5, np.uint8)
    out[within & (r < bore + 1.5)] = 1
    out[within & (r < bore)] = 0
    return out, voxel, [low, low, -1.0]


def test_labels_of_a_scan_give_the_measured_root() -> None:
    """To what the voxels leave open. A border between labels lies within half a voxel (0.075 mm) of the true one, and as much amiss where
    a facet of the grid lies along it, which is where the greatest rise is found; on the whole it is amiss by the standard deviation
    of an even distribution, 0.29 of a voxel. The measured root with its borders moved as far, for more heat and for less, must
    have the labelled one between, the greatest rise with half a voxel, the mean round the canal with 0.29."""
    volume, voxel, origin = labels()
    seen = solid.simulate(
        solid.from_labels(volume, [voxel] * 3, origin, measured(), voxels=COARSE), SHORT, voxels=COARSE
    )
    known = solid.from_lumen(measured(), voxels=COARSE, plate=0.0)

    def around(story: SolidStory) -> float:
        band = np.abs(story.surface.station - 12.5) < 0.5
        return float(story.surface.peak_rise[band].mean())

    def between(off: float, value: Callable[[SolidStory], float]) -> None:
        hot, cold = (
            value(solid.simulate(moved(known, -way * off, way * 2 * off), SHORT, voxels=COARSE, every=1e9))
            for way in (1, -1)
        )
        assert cold < value(seen) < hot

    between(voxel / 2, lambda story: story.surface_rise)
    between(voxel / np.sqrt(12), around)
    assert seen.surface_level == pytest.approx(12.6, abs=0.8)


def test_a_scan_that_lies_askew_gives_the_same_root() -> None:
    """Labels in a volume that is turned and moved in the patient; the canal turned alike. Places come back in the patient."""
    volume, voxel, origin = labels(0.2)
    turn = Rotation.from_euler("xyz", [20.0, -35.0, 50.0], degrees=True).as_matrix()
    affine = np.eye(4)
    affine[:3, :3], shift = turn * voxel, np.array([10.0, -4.0, 30.0])
    affine[:3, 3] = turn @ np.asarray(origin) + shift
    lumen = measured()
    there = replace(lumen, centre=lumen.centre @ turn.T + shift, axis=lumen.axis @ turn.T)
    straight = solid.from_labels(volume, [voxel] * 3, origin, lumen, voxels=COARSE)
    askew = solid.from_scan_labels(Scan(volume, affine), there, voxels=COARSE)
    a, b = (solid.simulate(r, SHORT, voxels=COARSE, every=1e9, until=20.0) for r in (straight, askew))
    assert b.surface_rise == pytest.approx(a.surface_rise, rel=1e-3)
    assert np.mean(b.surface.position, axis=0) == pytest.approx(
        turn @ np.mean(a.surface.position, axis=0) + shift, abs=0.1
    )


def test_meshes_give_the_measured_root() -> None:
    tube = Tube()
    inner, outer = make_surface(*tube.lumen()), make_surface(*tube.dentine())
    from canalwright.imaging import canals_from_surfaces

    (canal,) = canals_from_surfaces(inner, outer)
    seen = solid.simulate(solid.from_surfaces(inner, outer, canal.lumen, voxels=COARSE), SHORT, voxels=COARSE)
    known = solid.simulate(solid.from_lumen(canal.lumen, voxels=COARSE), SHORT, voxels=COARSE)
    assert seen.surface_rise == pytest.approx(known.surface_rise, rel=0.1)


def test_says_when_canal_and_labels_do_not_meet() -> None:
    volume, voxel, origin = labels(0.3)
    with pytest.raises(ValueError, match="same space"):
        solid.from_labels(volume, [voxel] * 3, [origin[0] + 4, *origin[1:]], measured(), voxels=COARSE)
    with pytest.raises(ValueError, match="canal"):
        solid.from_labels(np.ones((4, 4, 4), np.uint8), [1.0] * 3, [0.0] * 3, measured())
