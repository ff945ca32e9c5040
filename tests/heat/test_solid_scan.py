"""Protects the way from meshes and labels to the solid: the same root, seen three ways, heats the same."""

from functools import cache

import numpy as np
import pytest

from canalwright.anatomy.canal import Lumen
from canalwright.heat import example, solid
from canalwright.imaging.mesh.surfaces import make_surface
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
    """Within 8 %: a canal of 0.4 to 1.4 mm in voxels of 0.15 mm."""
    volume, voxel, origin = labels()
    from_scan = solid.from_labels(volume, [voxel] * 3, origin, measured(), voxels=COARSE)
    seen = solid.simulate(from_scan, SHORT, voxels=COARSE)
    known = solid.simulate(solid.from_lumen(measured(), voxels=COARSE, plate=0.0), SHORT, voxels=COARSE)
    assert seen.surface_rise == pytest.approx(known.surface_rise, rel=0.08)
    assert seen.surface_level == pytest.approx(known.surface_level, abs=0.8)


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
