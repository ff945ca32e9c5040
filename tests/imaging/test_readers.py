"""A scan is read whole, in its place and to scale, or refused in one line; a patient's name never rides along."""

import gc
import gzip
import warnings
from pathlib import Path

import gdcm
import numpy as np
import pytest
import SimpleITK as sitk
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from pydicom import dcmread
from pydicom.fileset import FileSet
from pydicom.uid import JPEG2000Lossless, JPEGLosslessSV1, JPEGLSLossless, RLELossless

from canalwright.imaging.errors import ScanError
from canalwright.imaging.readers.scan import read_scan
from canalwright.imaging.readers.stack import voxel_size
from canalwright.imaging.volume import Scan
from tests.imaging.dicom_files import write_series
from tests.support.shared_data import shared_data

RNG = np.random.default_rng(7)
VOLUME = RNG.integers(-500, 1500, (9, 8, 10)).astype(np.int16)
ITK_NAMES = ("scan.nii", "scan.nii.gz", "scan.nrrd", "scan.mha", "scan.mhd")
TURN = (0.8, 0.6, 0.0, 0.0, 0.0, -1.0)


def itk_image() -> sitk.Image:
    image = sitk.GetImageFromArray(VOLUME)
    image.SetSpacing((0.2, 0.25, 0.3))
    image.SetOrigin((3.0, -4.0, 5.0))
    angle = np.radians(20)
    c, s = np.cos(angle), np.sin(angle)
    image.SetDirection((c, -s, 0, s, c, 0, 0, 0, 1))
    return image


@pytest.mark.parametrize("name", ITK_NAMES)
@pytest.mark.parametrize("packed", [False, True])
def test_files_that_know_their_place_are_read_in_lps(tmp_path: Path, name: str, packed: bool) -> None:
    image = itk_image()
    sitk.WriteImage(image, str(tmp_path / name), packed)
    scan = read_scan(tmp_path / name)
    assert np.array_equal(scan.voxels, VOLUME)
    assert scan.spacing == pytest.approx((0.2, 0.25, 0.3), abs=1e-5)
    expected = image.TransformIndexToPhysicalPoint((4, 3, 2))
    assert scan.to_patient(np.array([4.0, 3.0, 2.0])) == pytest.approx(expected, abs=1e-4)
    assert scan.to_index(np.array(expected)) == pytest.approx((4, 3, 2), abs=1e-3)


@pytest.mark.parametrize("turn", [(1, 0, 0, 0, 1, 0), TURN])
def test_slices_are_ordered_by_place_not_by_name_or_number(tmp_path: Path, turn: tuple[float, ...]) -> None:
    write_series(tmp_path / "s", VOLUME, turn=turn)
    scan = read_scan(tmp_path / "s")
    assert np.array_equal(scan.array, VOLUME * 2.0 - 1000)
    assert scan.spacing == pytest.approx((0.3, 0.2, 0.2))
    normal = np.cross(turn[:3], turn[3:])
    assert scan.to_patient(np.array([0, 0, 3.0])) == pytest.approx(np.array([10, 20, 30]) + 0.6 * normal, abs=1e-4)


def test_identity_is_left_out_unless_asked_for(tmp_path: Path) -> None:
    write_series(tmp_path, VOLUME)
    assert "Invented" not in repr(read_scan(tmp_path))
    assert read_scan(tmp_path, identity=True).details["PatientName"] == "Invented^Person"


@pytest.mark.parametrize("syntax", [RLELossless, JPEG2000Lossless, JPEGLSLossless])
def test_compressed_slices_give_the_same_greys(tmp_path: Path, syntax: str) -> None:
    larger = np.tile(VOLUME, (1, 8, 8))
    for k, data in enumerate(write_series(tmp_path / "plain", larger)):
        data.compress(syntax, generate_instance_uid=False)
        (tmp_path / "packed").mkdir(exist_ok=True)
        data.save_as(tmp_path / "packed" / f"{k}.dcm", enforce_file_format=True)
    assert np.array_equal(read_scan(tmp_path / "packed").array, read_scan(tmp_path / "plain").array)


def test_slices_in_lossless_jpeg_give_the_same_greys(tmp_path: Path) -> None:
    """Packed by another library (GDCM): ours only reads this old syntax, which many scanners still send."""
    write_series(tmp_path / "plain", np.tile(VOLUME, (1, 8, 8)))
    (tmp_path / "packed").mkdir()
    for path in (tmp_path / "plain").iterdir():
        reader, change, writer = gdcm.ImageReader(), gdcm.ImageChangeTransferSyntax(), gdcm.ImageWriter()
        reader.SetFileName(str(path))
        assert reader.Read()
        change.SetTransferSyntax(gdcm.TransferSyntax(gdcm.TransferSyntax.JPEGLosslessProcess14_1))
        change.SetInput(reader.GetImage())
        assert change.Change()
        writer.SetFileName(str(tmp_path / "packed" / path.name))
        writer.SetFile(reader.GetFile())
        writer.SetImage(change.GetOutput())
        assert writer.Write()
        assert dcmread(tmp_path / "packed" / path.name).file_meta.TransferSyntaxUID == JPEGLosslessSV1
    assert np.array_equal(read_scan(tmp_path / "packed").array, read_scan(tmp_path / "plain").array)


def test_dicomdir_is_followed_and_must_be_complete(tmp_path: Path) -> None:
    files = FileSet()
    for data in write_series(tmp_path / "s", VOLUME):
        files.add(data)
    files.write(tmp_path / "disc")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # the library leaves its temporary folder to the collector
        del files
        gc.collect()
    for path in (tmp_path / "disc", tmp_path / "disc" / "DICOMDIR"):
        assert np.array_equal(read_scan(path).array, VOLUME * 2.0 - 1000)
    next(p for p in (tmp_path / "disc").rglob("*") if p.is_file() and p.name != "DICOMDIR").unlink()
    with pytest.raises(ScanError, match=r"is not there: copy the whole disc"):
        read_scan(tmp_path / "disc")


def test_two_series_in_a_folder_must_be_chosen_between(tmp_path: Path) -> None:
    write_series(tmp_path, VOLUME, series="1.2.3.7")
    write_series(tmp_path, VOLUME[:, ::-1], series="1.2.3.8")
    with pytest.raises(ScanError, match=r"2 series in one folder: choose one with series=: number 7 .*number 8"):
        read_scan(tmp_path)
    assert np.array_equal(read_scan(tmp_path, series="8").voxels, VOLUME[:, ::-1])
    with pytest.raises(ScanError, match="series '5' fits 0 series"):
        read_scan(tmp_path, series="5")


def test_scout_view_beside_the_series_is_left_aside_with_a_word(tmp_path: Path) -> None:
    write_series(tmp_path, VOLUME, series="1.2.3.7")
    write_series(tmp_path, VOLUME[:1], series="1.2.3.1", turn=(1, 0, 0, 0, 0, -1))
    scan = read_scan(tmp_path)
    assert scan.voxels.shape == VOLUME.shape
    assert "1 other series in the folder left aside" in scan.warnings


@pytest.mark.parametrize("skip", [(4,), (4, 5), (1, 3, 5, 6)])
def test_missing_slices_are_refused(tmp_path: Path, skip: tuple[int, ...]) -> None:
    write_series(tmp_path, VOLUME, skip=skip)
    with pytest.raises(ScanError, match=r"slices missing between .* mm apart, allowed"):
        read_scan(tmp_path)


def test_double_slices_are_refused(tmp_path: Path) -> None:
    write_series(tmp_path / "a", VOLUME)
    write_series(tmp_path / "b", VOLUME)
    with pytest.raises(ScanError, match="two slices at one place"):
        read_scan(tmp_path)


def test_real_series_with_a_hole_is_refused() -> None:
    with pytest.raises(ScanError, match=r"slices missing between .*202\.50 mm apart, allowed 1\.25 mm"):
        read_scan(shared_data("dicom_general", "CT2_gap"))


def test_real_series_is_read_in_order() -> None:
    scan = read_scan(shared_data("dicom_general", "CT5N"))
    assert scan.spacing == pytest.approx((0.488281, 0.488281, 2.5))
    assert scan.affine[:3, 3] == pytest.approx((-72.199997, -143.0, -1.2375))
    assert any("too coarse for a root canal" in w for w in scan.warnings)


def test_real_single_slice_is_refused() -> None:
    with pytest.raises(ScanError, match="1 slice, allowed 2 or more"):
        read_scan(shared_data("dicom_general", "CT_small.dcm"))


def test_real_multi_frame_takes_spacing_from_its_functional_groups() -> None:
    scan = read_scan(shared_data("dicom_general", "eCT_Supplemental.dcm"))
    assert scan.shape == (2, 512, 512)
    assert scan.spacing == pytest.approx((0.388672, 0.388672, 10.0))
    assert scan.affine[:3, 2] == pytest.approx((0, 0, -10)), "rows run to the right: the normal points down"
    assert any("too thin a stack" in w for w in scan.warnings)


def test_real_crown_slices_are_refused_without_a_pixel_size_and_as_two_slices() -> None:
    path = shared_data("synchrotron_crown_slices", "fbp_two_slices_u16.tif")
    with pytest.raises(ScanError, match=r"carry no voxel size.*give voxel=\(x, y, z\) in mm"):
        read_scan(path)
    with pytest.raises(ScanError, match="2 slices, allowed 3 or more"):
        read_scan(path, voxel=0.02)


def test_picture_stacks_need_a_voxel_size_and_keep_their_order(tmp_path: Path) -> None:
    grey = (VOLUME + 500).astype(np.uint16)
    tifffile.imwrite(tmp_path / "stack.tif", grey)
    pngs, tiffs = tmp_path / "png", tmp_path / "tif"
    pngs.mkdir(), tiffs.mkdir()
    for k in range(len(grey)):
        Image.fromarray(grey[k]).save(pngs / f"tooth3_{k + 5}.png")
        tifffile.imwrite(tiffs / f"s{k:03d}.tif", grey[k], compression="zlib")
    for path in (tmp_path / "stack.tif", pngs, tiffs):
        scan = read_scan(path, voxel=(0.02, 0.02, 0.04))
        assert np.array_equal(scan.voxels, grey)
        assert scan.spacing == pytest.approx((0.02, 0.02, 0.04))
        with pytest.raises(ScanError, match="carry no voxel size"):
            read_scan(path)
        with pytest.raises(ScanError, match=r"voxel 20\.0, allowed 0\.0005 to 2 mm: is it in micrometres"):
            read_scan(path, voxel=20.0)
    (pngs / "tooth3_8.png").unlink()
    with pytest.raises(ScanError, match="slice numbers jump from 7 to 9"):
        read_scan(pngs, voxel=0.02)
    with pytest.raises(ScanError, match="one picture is not a volume"):
        read_scan(pngs / "tooth3_9.png", voxel=0.02)


@pytest.mark.parametrize(
    ("said", "size"),
    [
        ("0.2", 0.2), (" 0,15 ", 0.15), ("0.1,0.2,0.3", (0.1, 0.2, 0.3)), ("0.1, 0.2, 0.3", (0.1, 0.2, 0.3)),
        ("0,1 0,2 0,3", (0.1, 0.2, 0.3)), ("0,1; 0,2; 0,3", (0.1, 0.2, 0.3)), ("0.1 x 0.2 × 0.3", (0.1, 0.2, 0.3)),
        ("1,2,3", (1.0, 2.0, 3.0)),
    ],
)  # fmt: skip
def test_a_voxel_size_is_one_number_or_three(said: str, size: float | tuple[float, float, float]) -> None:
    assert voxel_size(said) == size


@pytest.mark.parametrize("said", ["", "fine", "0.1,0.2", "0,1,0,2,0,3", "0.1,0.2,-1", "0", "nan", "inf", "1 2 3 4"])
def test_what_is_no_voxel_size_is_said_and_not_guessed(said: str) -> None:
    with pytest.raises(ScanError, match=r"one number in mm, such as .* or three above 0"):
        voxel_size(said)


def test_voxel_size_is_refused_where_the_file_states_one(tmp_path: Path) -> None:
    sitk.WriteImage(itk_image(), str(tmp_path / "scan.nrrd"))
    with pytest.raises(ScanError, match="states its own: leave it out"):
        read_scan(tmp_path / "scan.nrrd", voxel=0.1)


@pytest.mark.parametrize(
    ("content", "say"),
    [(b"", "the file is empty"), (b"hello, not a scan" * 30, "not a scan that can be read here; allowed: DICOM")],
)
def test_what_is_no_scan_is_refused(tmp_path: Path, content: bytes, say: str) -> None:
    (tmp_path / "x").write_bytes(content)
    with pytest.raises(ScanError, match=say):
        read_scan(tmp_path / "x")


def test_missing_and_empty_paths_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ScanError, match="no such file or folder"):
        read_scan(tmp_path / "none")
    (tmp_path / "empty").mkdir()
    with pytest.raises(ScanError, match="the folder is empty"):
        read_scan(tmp_path / "empty")


def test_a_header_that_claims_more_than_the_file_holds_is_refused(tmp_path: Path) -> None:
    """A packed header that claims terabytes, and a cut file that a reader would pad with zeros in silence."""
    sitk.WriteImage(itk_image(), str(tmp_path / "a.nii"))
    whole = (tmp_path / "a.nii").read_bytes()
    (tmp_path / "cut.nii").write_bytes(whole[:-100])
    with pytest.raises(ScanError, match="it is cut short or its header is wrong"):
        read_scan(tmp_path / "cut.nii")
    huge = whole[:42] + np.array([8000, 8000, 8000], "<i2").tobytes() + whole[48:]
    (tmp_path / "huge.nii.gz").write_bytes(gzip.compress(huge))
    with pytest.raises(ScanError, match=r"the header claims 953\.7 GiB, allowed 8"):
        read_scan(tmp_path / "huge.nii.gz")
    some = whole[:42] + np.array([800, 800, 800], "<i2").tobytes() + whole[48:]
    (tmp_path / "some.nii.gz").write_bytes(gzip.compress(some))
    with pytest.raises(ScanError, match="cut short"):
        read_scan(tmp_path / "some.nii.gz")
    (tmp_path / "cut.nii.gz").write_bytes(gzip.compress(whole)[:-200])
    with pytest.raises(ScanError, match=r"cut short or damaged|cannot be"):
        read_scan(tmp_path / "cut.nii.gz")


def test_metaimage_may_not_reach_for_other_files(tmp_path: Path) -> None:
    sitk.WriteImage(itk_image(), str(tmp_path / "scan.mhd"))
    text = (tmp_path / "scan.mhd").read_text().replace("scan.raw", "../scan.raw")
    (tmp_path / "scan.mhd").write_text(text)
    with pytest.raises(ScanError, match="is not a file beside it"):
        read_scan(tmp_path / "scan.mhd")


def test_sheared_and_absurd_grids_are_refused(tmp_path: Path) -> None:
    sitk.WriteImage(itk_image(), str(tmp_path / "a.nrrd"))
    text = (tmp_path / "a.nrrd").read_bytes()
    start = text.index(b"space directions:")
    end = text.index(b"\n", start)
    for directions, say in (
        (b"(0.2,0,0) (0,0.2,0) (0,0.1,0.2)", "sheared|from square"),
        (b"(200,0,0) (0,200,0) (0,0,300)", "allowed 0.0005 to 20 mm"),
    ):
        (tmp_path / "b.nrrd").write_bytes(text[:start] + b"space directions: " + directions + text[end:])
        with pytest.raises(ScanError, match=say):
            read_scan(tmp_path / "b.nrrd")


def test_crop_keeps_every_voxel_in_its_place() -> None:
    scan = Scan(VOLUME, np.array([[0.2, 0, 0, 1], [0, 0.2, 0, 2], [0, 0, 0.3, 3], [0, 0, 0, 1.0]]))
    part = scan.crop(np.array([1.5, 2.4, 3.6]), np.array([2.2, 3.0, 4.5]))
    assert part.shape == (4, 4, 5)
    assert part.to_patient(np.zeros(3)) == pytest.approx(scan.to_patient(np.array([2.0, 2.0, 2.0])))
    assert part.voxels[0, 0, 0] == VOLUME[2, 2, 2]
    with pytest.raises(ScanError, match="lies outside the volume"):
        scan.crop(np.array([50.0, 50, 50]), np.array([60.0, 60, 60]))


class Files(dict[str, bytes]):
    """Files by name; a short repr keeps reports of failing examples readable."""

    def __repr__(self) -> str:
        return f"Files({', '.join(sorted(self))})"


@pytest.fixture(scope="module")
def whole_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """One whole, valid file of each format."""
    folder = tmp_path_factory.mktemp("whole")
    for name in ("scan.nii", "scan.nii.gz", "scan.nrrd", "scan.mha"):
        sitk.WriteImage(itk_image(), str(folder / name))
    tifffile.imwrite(folder / "scan.tif", (VOLUME + 500).astype(np.uint16), compression="zlib")
    write_series(folder / "dicom", VOLUME[:3])
    found = {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}
    return Files(found | {"scan.dcm": next((folder / "dicom").iterdir()).read_bytes()})


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    kind=st.integers(0, 99),
    how=st.sampled_from(["cut", "change", "chance"]),
    share=st.floats(0, 1),
    changes=st.lists(st.tuples(st.integers(0, 700), st.integers(0, 255)), min_size=1, max_size=6),
    chance=st.binary(max_size=600),
)
def test_damaged_files_never_raise_anything_but_our_error(
    tmp_path: Path,
    whole_files: dict[str, bytes],
    kind: int,
    how: str,
    share: float,
    changes: list[tuple[int, int]],
    chance: bytes,
) -> None:
    """Cut short, bytes changed in the header, or bytes of chance: a scan or a ScanError, nothing else."""
    name = sorted(whole_files)[kind % len(whole_files)]
    content = bytearray(whole_files[name])
    if how == "cut":
        content = content[: int(share * (len(content) - 1))]
    elif how == "change":
        for place, value in changes:
            content[place % len(content)] = value
    else:
        content = content[: int(share * 400)] + bytearray(chance)
    path = tmp_path / name
    path.write_bytes(content)
    try:
        scan = read_scan(path, voxel=0.1 if name.endswith("tif") else None)
    except ScanError as error:
        assert "\n" not in str(error)
    else:
        assert scan.voxels.ndim == 3 and np.isfinite(scan.affine).all()
