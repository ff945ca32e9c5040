"""A small file that grows out of all measure is refused before it has eaten the memory; damaged pixels do not end the program."""

import gzip
import io
import os
import struct
import zipfile
import zlib
from pathlib import Path

import gdcm
import numpy as np
import pytest
import tifffile
from pydicom.dataset import Dataset
from pydicom.uid import DeflatedExplicitVRLittleEndian, JPEGLosslessSV1

from canalwright.casefile import CaseError, archive
from canalwright.imaging import ScanError, read_scan
from canalwright.imaging.radiograph.read import read_film
from canalwright.imaging.readers import bounded
from tests.imaging.dicom_files import write_series

GREYS = (np.arange(3 * 64 * 64) % 251).reshape(3, 64, 64).astype(np.int16)


def _deflated(path: Path, padding: int) -> Path:
    folder = path.parent / "slices"
    data: Dataset = write_series(folder, GREYS[:1], spacing=(0.1, 0.1))[0]
    data.add_new(0x00204000, "UT", " " * padding)
    data.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    data.save_as(path, enforce_file_format=True)
    return path


@pytest.mark.parametrize("read", [read_scan, read_film], ids=["scan", "film"])
def test_a_deflated_dicom_file_that_grows_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, read) -> None:  # type: ignore[no-untyped-def]
    bomb = _deflated(tmp_path / "a.dcm", 24 << 20)
    assert bomb.stat().st_size < 200_000
    monkeypatch.setattr(bounded, "LARGEST_INFLATED", 16 << 20)
    with pytest.raises(ScanError, match="grows to more than 16 MiB"):
        read(bomb)


def test_a_deflated_film_of_its_own_size_is_read(tmp_path: Path) -> None:
    assert np.array_equal(read_film(_deflated(tmp_path / "a.dcm", 10)).pixels, GREYS[0])


def test_a_strip_that_grows_beyond_its_page_is_refused(tmp_path: Path) -> None:
    """The decoder inflates a strip whole, whatever the page says of its size."""
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, GREYS.astype(np.uint16), photometric="minisblack")
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
        places = {tag: page.tags[tag].valueoffset for tag in ("StripOffsets", "StripByteCounts", "Compression")}
        kinds = {tag: page.tags[tag].dtype.name for tag in places}
    packed, data = zlib.compress(bytes(64 << 20)), bytearray(path.read_bytes())
    for tag, value in (("StripOffsets", len(data)), ("StripByteCounts", len(packed)), ("Compression", 8)):
        shape = "<H" if kinds[tag] == "SHORT" else "<I"
        struct.pack_into(shape, data, places[tag], value)
    path.write_bytes(bytes(data) + packed)
    with pytest.raises(ScanError, match="grows to more than"):
        read_scan(path, voxel=0.2)


def test_a_picture_that_claims_more_than_it_can_hold_is_refused(tmp_path: Path) -> None:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 60000, 60000, 8, 0, 0, 0, 0)
    png = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(1 << 20)))
        + chunk(b"IEND", b"")
    )
    for number in range(3):
        (tmp_path / f"{number}.png").write_bytes(png)
    with pytest.raises(ScanError):
        read_scan(tmp_path, voxel=0.2)
    with pytest.raises(ScanError, match="exceeds limit"):
        read_film(tmp_path / "0.png")


def test_a_packed_volume_that_claims_more_than_it_can_hold_is_refused(tmp_path: Path) -> None:
    head = bytearray(352)
    struct.pack_into("<i", head, 0, 348)
    struct.pack_into("<8h", head, 40, 3, 1200, 1200, 1200, 1, 1, 1, 1)
    struct.pack_into("<h", head, 70, 4)
    struct.pack_into("<8f", head, 76, 1, 0.2, 0.2, 0.2, 0, 0, 0, 0)
    struct.pack_into("<f", head, 108, 352)
    struct.pack_into("<2h", head, 252, 1, 1)
    head[344:348] = b"n+1\0"
    path = tmp_path / "a.nii.gz"
    path.write_bytes(gzip.compress(bytes(head)))
    with pytest.raises(ScanError, match="cut short or damaged"):
        read_scan(path)


def test_an_archive_that_lies_about_its_size_or_names_a_way_out_is_refused() -> None:
    for name in ("../../case.toml", "/etc/passwd", "chair/../case.toml", "..\\case.toml", "C:case.toml"):
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w") as made:
            made.writestr(zipfile.ZipInfo(name), b"x")
        with pytest.raises(CaseError, match="no place in it"):
            archive.unpack(file.getvalue())
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("case.toml", bytes(65 << 20))
    with pytest.raises(CaseError, match="when unpacked"):
        archive.unpack(file.getvalue())
    honest, size = file.getvalue(), struct.pack("<I", 65 << 20)
    with pytest.raises(CaseError, match="refused"):  # both headers say that it is small
        archive.unpack(honest.replace(size, struct.pack("<I", 100)))


def _lossless(folder: Path) -> Path:
    write_series(folder / "plain", GREYS[:1], spacing=(0.1, 0.1))
    reader, change, writer = gdcm.ImageReader(), gdcm.ImageChangeTransferSyntax(), gdcm.ImageWriter()
    reader.SetFileName(str(next((folder / "plain").iterdir())))
    assert reader.Read()
    change.SetTransferSyntax(gdcm.TransferSyntax(gdcm.TransferSyntax.JPEGLosslessProcess14_1))
    change.SetInput(reader.GetImage())
    assert change.Change()
    writer.SetFile(reader.GetFile())
    writer.SetImage(change.GetOutput())
    writer.SetFileName(str(folder / "a.dcm"))
    assert writer.Write()
    return folder / "a.dcm"


def test_damaged_lossless_pixels_are_a_refusal_not_the_end(tmp_path: Path) -> None:
    """The only decoder of lossless JPEG may end its process on damaged bytes; that process is not ours."""
    path = _lossless(tmp_path)
    whole = path.read_bytes()
    assert JPEGLosslessSV1.encode() in whole[:1024]
    assert np.array_equal(read_film(path).pixels, GREYS[0])
    start, draw = whole.rfind(b"\xff\xd8"), np.random.default_rng(7)
    for _ in range(6):
        damaged = bytearray(whole)
        for at in draw.integers(start, len(whole), 16):
            damaged[at] = int(draw.integers(256))
        path.write_bytes(damaged)
        try:
            assert read_film(path).pixels.shape == GREYS[0].shape
        except ScanError as error:
            assert "\n" not in str(error)


def test_a_pipe_and_a_device_are_refused_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "a.zip"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(ScanError, match="a device or a pipe"):
            read_scan(path)
        with pytest.raises(ScanError, match="no such file"):
            read_film(path)
        with pytest.raises(CaseError, match="no file"):
            archive.read(path)


def test_links_in_a_folder_lead_nowhere_else(tmp_path: Path) -> None:
    """A folder that links to itself, to a device and to nothing is read as the series that it holds."""
    write_series(tmp_path / "a", GREYS)
    (tmp_path / "a" / "again").symlink_to(tmp_path / "a", target_is_directory=True)
    (tmp_path / "a" / "zero").symlink_to("/dev/zero")
    (tmp_path / "a" / "gone").symlink_to(tmp_path / "gone")
    assert read_scan(tmp_path / "a").shape == GREYS.shape


def test_a_whole_disk_is_not_looked_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canalwright.imaging.readers.dicom.MAX_FILES", 3)
    write_series(tmp_path / "a", GREYS)
    assert read_scan(tmp_path).shape == GREYS.shape
    write_series(tmp_path / "b", GREYS)
    with pytest.raises(ScanError, match="over 3 files in it"):
        read_scan(tmp_path)
