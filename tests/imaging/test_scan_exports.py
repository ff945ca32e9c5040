"""What leaves for other programs says the same as the canal: tables, closed surfaces, labels in their place, a segmentation."""

import csv
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import highdicom
import numpy as np
import pydicom
import pytest
import trimesh

from canalwright.anatomy import Tooth as Number
from canalwright.exchange.codes import of_tooth
from canalwright.imaging import ImagingError, Scan, open_scan, read_scan
from canalwright.imaging.exports import (
    COLUMNS,
    FILLING,
    as_csv,
    as_json,
    labels,
    lumen_surface,
    pulp_surface,
    root_surface,
    segmentation,
    tooth_labels,
    write_labels,
    write_surface,
    write_table,
)
from canalwright.imaging.phantom.fill import fill
from canalwright.imaging.readers.series import Series, series_of
from canalwright.imaging.tooth.outline import Tooth, find_tooth
from tests.imaging.dicom_files import write_multi_frame, write_series
from tests.imaging.scans import phantom, scan_of, traced


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


@pytest.mark.parametrize("ending", [".stl", ".obj", ".ply", ".glb", ".gltf"])
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
    back = read_scan(write_labels(mask, tmp_path / "labels.nii.gz"))
    assert np.array_equal(back.voxels, mask.voxels)
    assert np.allclose(back.affine, scan.affine, atol=1e-4)
    with pytest.raises(ImagingError, match=r"allowed: \.nii"):
        write_labels(mask, tmp_path / "labels.stl")


def test_table_files_are_chosen_by_their_ending(tmp_path: Path) -> None:
    assert write_table(traced(1), tmp_path / "c.csv").read_text() == as_csv(traced(1))
    assert json.loads(write_table(traced(1), tmp_path / "c.json").read_text())["name"] == traced(1).name
    with pytest.raises(ImagingError, match=r"allowed: \.csv, \.json"):
        write_table(traced(1), tmp_path / "c.txt")


@cache
def tooth() -> Tooth:
    true = phantom(1).truth[0]
    return find_tooth(scan_of(1), true.centre[60] + true.axis[60] * (true.major[60] / 2 + 0.5))


def test_outside_of_the_root_and_its_pulp_are_closed_and_of_the_true_size() -> None:
    """A surface half a voxel (0.1 mm) off all round would be a tenth of the root's volume off."""
    scan = scan_of(1)
    size = np.array(scan.shape[::-1])
    shares = fill(phantom(1).root, phantom(1).canals, scan.affine[:3, 3], scan.affine[:3, :3], size)
    cell = float(np.prod(scan.spacing))
    root, pulp = root_surface(tooth()), pulp_surface(tooth())
    assert root.is_watertight and pulp.is_watertight
    assert root.volume == pytest.approx(float(shares[1].sum()) * cell, rel=0.08)
    assert pulp.volume == pytest.approx(float(shares[0].sum()) * cell, rel=0.2)


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The phantom's scan as a series of slices, as a scanner would hand it over."""
    scan, folder = scan_of(1), tmp_path_factory.mktemp("series")
    turn = (scan.affine[:3, :3] / scan.spacing).T
    origin = tuple(float(v) for v in scan.affine[:3, 3])
    grey = np.round((scan.voxels + 1000) / 2).astype(np.int16)
    write_series(
        folder, grey, step=float(scan.spacing[2]), spacing=(float(scan.spacing[1]), float(scan.spacing[0])),
        turn=tuple(turn[:2].ravel()), origin=origin,
    )  # fmt: skip
    return folder


def test_segmentation_refers_to_the_series_and_comes_back_the_same(series: Path, tmp_path: Path) -> None:
    """Written, read by pydicom and highdicom: every voxel in its place, coded, the patient's name left out."""
    whole = open_scan(series)
    near = whole.crop(*(tooth().corners().min(0), tooth().corners().max(0)))
    mask, names = tooth_labels(tooth(), [traced(1)], near)
    code = of_tooth(Number(46))
    made = segmentation(mask, names, whole, region=(code.value, code.scheme, code.meaning))
    made.save_as(tmp_path / "seg.dcm")
    back = highdicom.seg.segread(tmp_path / "seg.dcm")
    assert [s.segment_label for s in (back.get_segment_description(n) for n in (1, 2, 3))] == list(names)
    first = back.get_segment_description(1)
    assert first.segmented_property_category.value == "91723000"
    assert first.segmented_property_type.scheme_designator == "99CANALWRIGHT"
    assert first.anatomic_regions[0].meaning == code.meaning
    volume = back.get_volume(combine_segments=True)
    low = np.round(near.to_index(volume.affine[:3, 3])).astype(int)
    at = near.to_index(volume.map_indices_to_reference(np.argwhere(volume.array == 1)))
    painted = np.zeros(near.shape, bool)
    i, j, k = np.round(at).astype(int).T
    painted[k, j, i] = True
    assert np.abs(at - np.round(at)).max() < 0.05 and low is not None
    assert np.array_equal(painted, np.asarray(mask.voxels) == 1)
    plain = pydicom.dcmread(tmp_path / "seg.dcm")
    assert plain.Modality == "SEG" and str(plain.PatientName) == ""
    uids = {pydicom.dcmread(p, stop_before_pixels=True).SOPInstanceUID for p in series.iterdir()}
    assert {r.ReferencedSOPInstanceUID for r in plain.ReferencedSeriesSequence[0].ReferencedInstanceSequence} <= uids
    named = segmentation(mask, names, whole, identity=True)
    assert str(named.PatientName) == "Invented^Person"


@pytest.mark.parametrize("frames", ["slices", "one file"])
def test_what_is_kept_of_a_series_makes_the_same_segmentation_and_tells_nobody(
    series: Path, tmp_path: Path, frames: str
) -> None:
    """The page keeps no file: which images there are and where they lie is enough; no name, number, date or place stays."""
    if frames == "one file":
        series = tmp_path / "many.dcm"
        write_multi_frame(series, np.zeros((12, 20, 24), np.int16), order=[*range(11, -1, -1)])
    whole = open_scan(series)
    mask = Scan(np.zeros((4, 6, 8), np.uint8), whole.affine.copy())
    mask.voxels[1:3, 2:5, 3:6] = 1
    mask.affine[:3, 3] = whole.to_patient(np.array([5, 4, 3]))
    found = series_of(series)
    assert found is not None
    kept = found.dumps()
    for header in found.headers:
        for name in (
            "PatientName",
            "PatientID",
            "PatientBirthDate",
            "StudyDate",
            "InstitutionName",
            "AccessionNumber",
            "StudyTime",
        ):
            value = str(header.get(name, ""))
            assert not value or value not in kept, name
    there = segmentation(mask, ["filling"], whole, purpose=FILLING)
    again = segmentation(mask, ["filling"], replace(whole, path="gone"), series=Series.loads(kept), purpose=FILLING)
    assert np.array_equal(there.pixel_array, again.pixel_array) and again.NumberOfFrames == there.NumberOfFrames
    assert again.StudyInstanceUID == there.StudyInstanceUID and again.FrameOfReferenceUID == there.FrameOfReferenceUID
    places = [
        [f.PlanePositionSequence[0].ImagePositionPatient for f in made.PerFrameFunctionalGroupsSequence]
        for made in (there, again)
    ]
    assert places[0] == places[1]
    assert again.ReferencedSeriesSequence == there.ReferencedSeriesSequence
    with pytest.raises(ImagingError, match="open the scan again"):
        Series.loads("[]")


def test_segmentation_needs_a_series_and_labels_that_lie_on_it(series: Path, tmp_path: Path) -> None:
    scan = scan_of(1)
    mask = labels([traced(1)], scan)
    whole = open_scan(series)
    moved = Scan(mask.voxels, mask.affine + np.array([[0, 0, 0, 0.05]] * 3 + [[0] * 4]))
    with pytest.raises(ImagingError, match="do not lie on the grid"):
        segmentation(moved, ["canal"], whole)
    file = write_labels(scan_as_file(scan), tmp_path / "scan.nrrd")
    with pytest.raises(ImagingError, match="not a DICOM series"):
        segmentation(mask, ["canal"], open_scan(file))


def scan_as_file(scan: Scan) -> Scan:
    return Scan(np.round(scan.voxels).astype(np.int16), scan.affine)
