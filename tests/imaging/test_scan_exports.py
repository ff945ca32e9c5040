"""What leaves for other programs says the same as the canal: tables, a closed surface of its volume, labels in their place."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import trimesh

from canalwright.imaging import ImagingError, read_scan
from canalwright.imaging.exports import COLUMNS, as_csv, as_json, labels, lumen_surface, write_labels, write_surface
from tests.imaging.scans import scan_of, traced


def test_tables_hold_every_station_with_its_unit() -> None:
    found = traced(1)
    table = list(csv.DictReader(as_csv(found).splitlines()))
    assert tuple(table[0]) == COLUMNS and len(table) == found.lumen.size
    assert float(table[20]["least_width_mm"]) == pytest.approx(found.lumen.minor[20], abs=1e-4)
    data = json.loads(as_json(found))
    assert data["length_mm"] == pytest.approx(found.length, abs=1e-4)
    assert len(data["stations"]) == found.lumen.size


def test_surface_is_closed_and_holds_the_volume() -> None:
    surface = lumen_surface(traced(1))
    assert surface.is_watertight
    assert abs(surface.volume) == pytest.approx(traced(1).lumen.volume, rel=0.01)


@pytest.mark.parametrize("ending", [".stl", ".obj", ".ply", ".glb"])
def test_surface_files_read_back(tmp_path: Path, ending: str) -> None:
    path = write_surface(traced(1), tmp_path / f"lumen{ending}")
    back = trimesh.load(path, force="mesh")
    assert np.allclose(back.bounds, lumen_surface(traced(1)).bounds, atol=1e-4)
    with pytest.raises(ImagingError, match=r"allowed: \.stl"):
        write_surface(traced(1), tmp_path / "lumen.txt")


def test_labels_lie_on_the_scan_and_fill_the_lumen(tmp_path: Path) -> None:
    scan, found = scan_of(1), traced(1)
    mask = labels([found], scan)
    assert mask.voxels.sum() * np.prod(scan.spacing) == pytest.approx(found.lumen.volume, rel=0.05)
    back = read_scan(write_labels([found], scan, tmp_path / "labels.nii.gz"))
    assert np.array_equal(back.voxels, mask.voxels)
    assert np.allclose(back.affine, scan.affine, atol=1e-4)
