"""Surfaces filled into a scan: the volume of the surface, each material at its grey, open edges mended from beside."""

import numpy as np
import pytest
import trimesh

from canalwright.imaging.phantom.mesh import AIR, ENAMEL, Mesh, filled, scan_of
from canalwright.imaging.phantom.scan import Greys, Scanner

SHARP = Scanner(voxel=0.4, blur=0.05, noise=0.0, grain=0.0, oversample=2)


def _rod(radius: float, low: float, high: float) -> Mesh:
    made = trimesh.creation.cylinder(radius, high - low, sections=48)
    return Mesh(np.asarray(made.vertices) + [0, 0, (low + high) / 2], np.asarray(made.faces, dtype=np.int64))


LUMEN, DENTINE, CAP = _rod(0.8, -4.0, 3.0), _rod(2.5, -5.0, 5.0), _rod(3.2, 2.0, 5.0)


def test_a_filled_surface_has_its_volume() -> None:
    share = filled(DENTINE, np.array([-3.0, -3.0, -6.0]), 0.1, (120, 60, 60))
    exact = trimesh.Trimesh(DENTINE.vertices, DENTINE.faces).volume
    assert float(share.sum()) * 0.1**3 == pytest.approx(exact, rel=0.01)
    assert (share.min(), share.max()) == (0.0, 1.0)


def test_a_column_through_an_open_edge_takes_its_neighbours() -> None:
    holed = Mesh(DENTINE.vertices, DENTINE.faces[:-1])
    whole, mended = (filled(m, np.array([-3.0, -3.0, -6.0]), 0.1, (120, 60, 60)) for m in (DENTINE, holed))
    assert float(mended.sum()) == pytest.approx(float(whole.sum()), rel=0.02)


def test_each_material_has_its_grey() -> None:
    scan = scan_of(LUMEN, DENTINE, CAP, scanner=SHARP)
    greys = Greys()

    def at(*place: float) -> float:
        i = np.linalg.inv(scan.affine) @ [*place, 1.0]
        return float(scan.voxels[tuple(np.rint(i[2::-1]).astype(int))])

    assert at(0.0, 0.0, 0.0) == pytest.approx(greys.lumen, abs=60)
    assert at(1.6, 0.0, -1.0) == pytest.approx(greys.dentine, abs=60)
    assert at(2.9, 0.0, 3.5) == pytest.approx(ENAMEL, abs=150)
    assert at(4.5, 0.0, -3.0) == pytest.approx(greys.bone, abs=60)


def test_a_tooth_in_air() -> None:
    scan = scan_of(LUMEN, DENTINE, scanner=SHARP, ligament=None, box=(np.full(3, -6.0), np.full(3, 6.0)))
    assert float(scan.voxels.min()) == pytest.approx(AIR, abs=20)
    assert scan.shape == (30, 30, 30)
