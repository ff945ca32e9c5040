"""A large scan is opened, not read: a part of it comes out right in every format, and no more memory is held than for that part."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import SimpleITK as sitk
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from pydicom.uid import DeflatedExplicitVRLittleEndian, ImplicitVRLittleEndian, RLELossless

from canalwright.imaging import Opened, Scan, ScanError, open_scan, read_scan
from tests.imaging.dicom_files import write_multi_frame, write_series

SHAPE = (40, 512, 512)
"""20 MiB of int16: large beside the part that is read, small enough to be written in each format."""
FORMATS = ("a.nii", "a.nii.gz", "a.nrrd", "packed.nrrd", "a.mha", "packed.mha", "a.tif", "png", "series", "frames.dcm")
CHILD = """
import json, resource, sys
import numpy as np
from canalwright.imaging import ScanError, open_scan
task = json.loads(sys.argv[1])
opened = {}
for name, path in task["paths"].items():
    opened[name] = open_scan(path, voxel=0.2 if name in ("a.tif", "png") else None)
    opened[name].around(opened[name].to_patient(np.array([5.0, 5.0, 5.0])), 0.5)  # every library is loaded
size = next(line for line in open("/proc/self/status") if line.startswith("VmSize"))
most = int(size.split()[1]) * 1024 + task["spare"]
resource.setrlimit(resource.RLIMIT_AS, (most, most))
told = {}
for name, scan in opened.items():
    part = scan.around(scan.to_patient(np.array([250.0, 300.0, 20.0])), 2.0)
    told[name] = int(part.voxels.astype(np.int64).sum())
    try:
        kept = [scan.whole() for _ in range(3)]
        told[name] = "the whole fits: the limit proves nothing"
    except ScanError as error:
        assert "do not fit into the memory" in str(error), error
print(json.dumps(told))
"""


def volume(shape: tuple[int, int, int] = SHAPE) -> np.ndarray:
    z, y, x = np.indices(shape)
    return np.asarray((z * 31 + y * 7 + x * 3 + (x * y) % 11) % 3000, np.int16)


def write(folder: Path, grey: np.ndarray) -> dict[str, Path]:
    """The volume in every format, voxels of 0.2 mm."""
    image = sitk.GetImageFromArray(grey)
    image.SetSpacing((0.2, 0.2, 0.2))
    for name in FORMATS[:6]:
        sitk.WriteImage(image, str(folder / name), "packed" in name or name.endswith("gz"))
    tifffile.imwrite(folder / "a.tif", grey.astype(np.uint16), photometric="minisblack")
    (folder / "png").mkdir()
    for k, one in enumerate(grey.astype(np.uint16)):
        Image.fromarray(one).save(folder / "png" / f"{k:04d}.png", compress_level=1)
    write_series(folder / "series", grey, spacing=(0.2, 0.2))
    write_multi_frame(folder / "frames.dcm", grey, spacing=(0.2, 0.2))
    return {name: folder / name for name in FORMATS}


def opened(path: Path) -> Opened:
    return open_scan(path, voxel=0.2 if path.name in ("a.tif", "png") else None)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return write(tmp_path_factory.mktemp("small"), volume((12, 20, 18)))


@settings(max_examples=12, deadline=None)
@given(
    low=st.tuples(st.floats(-0.5, 3.0), st.floats(-0.5, 3.0), st.floats(-0.5, 2.0)),
    size=st.tuples(st.floats(0.6, 3.0), st.floats(0.6, 3.0), st.floats(0.6, 3.0)),
)
def test_a_part_that_is_read_is_the_part_of_the_whole(
    small: dict[str, Path], low: tuple[float, float, float], size: tuple[float, float, float]
) -> None:
    """In every format: same voxels, same place as cut out of the scan in memory."""
    for path in small.values():
        scan, start = opened(path), opened(path).affine[:3, 3]
        box = start + np.array(low), start + np.array(low) + size
        whole = Scan(volume((12, 20, 18)), scan.affine)
        part, cut = scan.crop(*box), whole.crop(*box)
        assert np.array_equal(part.voxels, cut.voxels), path.name
        assert np.allclose(part.affine, cut.affine)
        assert (part.slope, part.intercept) == (scan.slope, scan.intercept)


def test_a_large_scan_needs_no_more_memory_than_its_part(tmp_path: Path) -> None:
    """In a process of its own with less spare memory than the volume: the part is read, the whole does not fit."""
    grey = volume()
    paths = {name: str(path) for name, path in write(tmp_path, grey).items()}
    task = json.dumps({"paths": paths, "spare": int(0.9 * grey.nbytes)})
    done = subprocess.run([sys.executable, "-c", CHILD, task], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    expected = int(grey[10:31, 290:311, 240:261].astype(np.int64).sum())
    assert json.loads(done.stdout) == dict.fromkeys(FORMATS, expected)


def test_frames_are_placed_by_their_own_position_not_by_their_order(tmp_path: Path) -> None:
    grey = volume((5, 6, 7))
    write_multi_frame(tmp_path / "a.dcm", grey, order=[3, 0, 4, 1, 2])
    scan = read_scan(tmp_path / "a.dcm")
    assert np.array_equal(scan.array, grey * 2.0 - 1000)
    assert scan.affine[:3, 3] == pytest.approx((10, 20, 30))
    write_multi_frame(tmp_path / "gap.dcm", grey, places=[0, 0.2, 0.4, 0.8, 1.0])
    with pytest.raises(ScanError, match="slices missing between"):
        read_scan(tmp_path / "gap.dcm")


@pytest.mark.parametrize("syntax", [RLELossless, DeflatedExplicitVRLittleEndian, ImplicitVRLittleEndian])
def test_frames_and_slices_in_other_transfer_syntaxes(tmp_path: Path, syntax: str) -> None:
    grey = volume((5, 16, 18))
    frames = write_multi_frame(tmp_path / "frames.dcm", grey, order=[4, 3, 2, 1, 0])
    slices = write_series(tmp_path / "series", grey)
    for k, data in enumerate([frames, *slices]):
        path = tmp_path / "frames.dcm" if k == 0 else tmp_path / "packed" / f"{k}.dcm"
        path.parent.mkdir(exist_ok=True)
        if syntax == RLELossless:
            data.compress(syntax, generate_instance_uid=False)
        else:
            data.file_meta.TransferSyntaxUID = syntax
            data._is_implicit_VR = syntax == ImplicitVRLittleEndian
        data.save_as(path, enforce_file_format=True, implicit_vr=syntax == ImplicitVRLittleEndian, little_endian=True)
    for path in (tmp_path / "frames.dcm", tmp_path / "packed"):
        assert np.array_equal(read_scan(path).array, grey * 2.0 - 1000)
        part = open_scan(path).crop(np.array([10.0, 20, 30.3]), np.array([11.0, 21, 30.5]))
        assert part.shape[0] < 5


def test_damage_deep_in_a_file_shows_when_it_is_read(tmp_path: Path, small: dict[str, Path]) -> None:
    """A packed file broken in its middle opens, and is refused as soon as the broken part is wanted."""
    for name in ("packed.nrrd", "packed.mha", "a.nii.gz"):
        content = bytearray(small[name].read_bytes())
        middle = len(content) * 3 // 4
        content[middle : middle + 40] = bytes(40)
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ScanError, match=r"cut short or damaged|cannot be read"):
            open_scan(tmp_path / name).whole()


def test_greys_that_are_scaled_in_a_nifti_header_come_out_scaled(tmp_path: Path) -> None:
    image = sitk.GetImageFromArray(volume((8, 9, 10)))
    image.SetSpacing((0.2, 0.2, 0.2))
    sitk.WriteImage(image, str(tmp_path / "a.nii"))
    content = bytearray((tmp_path / "a.nii").read_bytes())
    content[112:120] = np.array([0.5, -1000], "<f4").tobytes()
    (tmp_path / "b.nii").write_bytes(content)
    assert np.allclose(read_scan(tmp_path / "b.nii").array, volume((8, 9, 10)) * 0.5 - 1000)


def test_what_is_known_of_a_scan_is_told_in_one_line_without_the_patient(small: dict[str, Path]) -> None:
    told = open_scan(small["series"]).about
    assert told == "CT of 18 x 20 x 12 voxels of 0.2 x 0.2 x 0.2 mm"
    assert "PatientName Invented^Person" in open_scan(small["series"], identity=True).about
