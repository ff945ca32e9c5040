"""Loading radiographs: greys the right way round, spacing only where it can be trusted, every refusal in one line."""

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.read import read_film
from tests.imaging.dicom_files import slice_dataset
from tests.support.shared_data import shared_data

GREYS = (np.arange(80)[:, None] * 3 + np.arange(100) * 10).astype(np.int16)


def _dicom(path, **values):
    data = slice_dataset(
        GREYS, np.zeros(3), turn=np.array([1, 0, 0, 0, 1, 0]), spacing=(0.02, 0.02), series="1.2.3", number=1
    )
    for key, value in values.items():
        setattr(data, key, value)
    data.save_as(path, enforce_file_format=True)
    return path


def test_dicom(tmp_path):
    """Imager Pixel Spacing is that of the receptor; MONOCHROME1 is turned so that dense is bright."""
    plain = read_film(_dicom(tmp_path / "a.dcm"))
    assert plain.spacing == 0.02 and "may or may not" in plain.warnings[0]
    turned = read_film(
        _dicom(tmp_path / "b.dcm", ImagerPixelSpacing=[0.03, 0.03], PhotometricInterpretation="MONOCHROME1")
    )
    assert turned.spacing == 0.03 and turned.warnings == ()
    assert np.array_equal(turned.pixels, plain.pixels.max() - plain.pixels)
    assert plain.size == (80, 100)


@pytest.mark.parametrize("kind", ["png", "jpg", "tif"])
def test_pictures(tmp_path, kind):
    """A picture has greys and no spacing; colour is doubted, not refused."""
    path = tmp_path / f"film.{kind}"
    grey = (GREYS // 5).astype(np.uint8)
    if kind == "tif":
        tifffile.imwrite(path, GREYS.astype(np.uint16))
    else:
        Image.fromarray(grey).save(path)
    found = read_film(path)
    assert found.size == (80, 100) and found.spacing is None and "instrument of known length" in found.warnings[0]
    Image.fromarray(np.dstack([grey, grey // 2, grey // 3])).save(tmp_path / "c.png")
    assert any("photograph of a screen" in w for w in read_film(tmp_path / "c.png").warnings)


def test_refusals(tmp_path):
    small, text = tmp_path / "small.png", tmp_path / "text.png"
    Image.fromarray(np.zeros((10, 10), np.uint8)).save(small)
    text.write_text("no picture")
    pages = tmp_path / "pages.tif"
    tifffile.imwrite(pages, np.zeros((3, 80, 80), np.uint8), photometric="minisblack")
    cut = tmp_path / "cut.dcm"
    cut.write_bytes(_dicom(tmp_path / "whole.dcm").read_bytes()[:900])
    wrong = _dicom(tmp_path / "wrong.dcm", ImagerPixelSpacing=[30, 30])
    for path, words in (
        (small, "10 x 10"), (text, "not a radiograph"), (pages, "3 pages"), (cut, "not a whole DICOM"), (wrong, "spacing"),
        (tmp_path / "none.png", "no such file"),
    ):  # fmt: skip
        with pytest.raises(ScanError, match=words) as caught:
            read_film(path)
        assert "\n" not in str(caught.value) and path.name in str(caught.value)


@settings(max_examples=25, deadline=None)
@given(
    st.binary(max_size=300),
    st.sampled_from([b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\0", b"\0" * 128 + b"DICM"]),
)
def test_damaged_files_never_end_in_a_traceback(tmp_path_factory, tail, head):
    path = tmp_path_factory.mktemp("fuzz") / "film"
    path.write_bytes(head + tail)
    with pytest.raises(ScanError):
        read_film(path)


def test_a_slice_of_a_real_scan_is_no_radiograph():
    """Open data: a CT slice has pixels too coarse for a film, and is told so."""
    with pytest.raises(ScanError, match=r"spacing 0\.66"):
        read_film(shared_data("dicom_general", "CT_small.dcm"))
