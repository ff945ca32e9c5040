"""Load a radiograph: DICOM, PNG, TIFF or JPEG, one picture of greys.

What a file is, is told by its first bytes. DICOM may state the spacing at the receptor (Imager Pixel Spacing, DICOM PS3.3 C.8.11.4; else
Pixel Spacing) and is turned so that dense is bright; pictures state none that can be trusted. Every refusal is a ScanError.
"""

import warnings as python_warnings
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image
from pydicom.pixels.utils import pixel_array

from canalwright.imaging.errors import ScanError
from canalwright.imaging.radiograph.image import Film
from canalwright.imaging.readers.apart import Apart
from canalwright.imaging.readers.bounded import dicom_header, dicom_inflated, fragile, packed_page
from canalwright.imaging.refusal import refusal, silent

LIMIT_PIXELS, LIMIT_BYTES = 64_000_000, 1 << 29
LEAST = 64
NO_SPACING = "a picture file carries no spacing that can be trusted: scale it by an instrument of known length"


def read_film(path: str | Path) -> Film:
    """Read one radiograph. Raises ScanError for anything that is not one whole picture of greys."""
    path = Path(path)
    if not path.is_file():
        raise refusal(path, "no such file: check the path")
    if path.stat().st_size > LIMIT_BYTES:
        size = f"{path.stat().st_size >> 20} MiB"
        raise refusal(path, size, allowed=f"{LIMIT_BYTES >> 20} MiB", remedy="give the file of one radiograph")
    try:
        with path.open("rb") as stream:
            head = stream.read(132)
        if head[128:132] == b"DICM":
            return _dicom(path)
        if head[:4] in (b"II*\0", b"MM\0*"):
            return _picture(path, _tiff(path))
        if head[:8] == b"\x89PNG\r\n\x1a\n" or head[:3] == b"\xff\xd8\xff":
            return _picture(path, _image(path))
    except OSError as error:
        raise refusal(path, f"cannot be read ({error.strerror or error}): check the disk and rights") from None
    raise refusal(path, "not a radiograph that can be read here", allowed="DICOM, PNG, TIFF, JPEG")


def _dicom(path: Path) -> Film:
    try:
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            data = dicom_header(path)
            rows, columns = int(data.Rows), int(data.Columns)
            frames = int(data.get("NumberOfFrames", 1) or 1)
            if frames != 1 or int(data.get("SamplesPerPixel", 1)) != 1:
                raise refusal(
                    path, f"{frames} frames, {data.get('SamplesPerPixel')} channels", allowed="one picture of greys"
                )
            _bounded(path, rows, columns)
            greys = _stored(path).astype(np.float32)
    except ScanError:
        raise
    except Exception as error:  # the parser raises of every kind on damaged input
        raise refusal(
            path, f"not a whole DICOM picture ({str(error)[:80] or type(error).__name__}): export it again"
        ) from None
    if data.get("PhotometricInterpretation") == "MONOCHROME1":
        greys = greys.max() - greys
    notes: list[str] = []
    spacing = data.get("ImagerPixelSpacing")
    if spacing is None and data.get("PixelSpacing") is not None:
        spacing = data.get("PixelSpacing")
        notes.append(
            "Pixel Spacing is given, not that of the receptor: it may or may not be corrected for magnification"
        )
    if spacing is None:
        return Film(greys, None, ("the file states no spacing: scale it by an instrument of known length",), str(path))
    down, across = float(spacing[0]), float(spacing[1])
    if not (0.005 <= down <= 0.5 and abs(down / across - 1) < 0.02):
        raise refusal(path, f"spacing {down} x {across} mm", allowed="0.005 to 0.5 mm, the same both ways")
    return Film(greys, across, tuple(notes), str(path))


def _stored(path: Path) -> NDArray[np.generic]:
    if fragile(path):
        with Apart() as apart:
            return next(apart.decode(path, None))
    return pixel_array(dicom_inflated(path) or path)


def _tiff(path: Path) -> NDArray[np.generic]:
    try:
        with silent("tifffile"), tifffile.TiffFile(path) as tiff:
            if len(tiff.pages) != 1:
                raise refusal(
                    path, f"{len(tiff.pages)} pages", allowed="one", remedy="give the page of the radiograph alone"
                )
            shape = tiff.pages[0].shape
            _bounded(path, *(int(v) for v in shape[:2]))
            packed_page(path, tiff.pages[0])
            return np.asarray(tiff.pages[0].asarray())
    except ScanError:
        raise
    except Exception as error:  # as above
        raise refusal(path, f"not a whole TIFF ({str(error)[:80] or type(error).__name__}): export it again") from None


def _image(path: Path) -> NDArray[np.generic]:
    try:
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("error")
            with Image.open(path, formats=["PNG", "JPEG"]) as picture:
                _bounded(path, picture.height, picture.width)
                coloured = picture.mode in ("P", "1", "LA", "RGBA", "CMYK", "YCbCr")
                return np.asarray(picture.convert("RGB") if coloured else picture)
    except ScanError:
        raise
    except Exception as error:  # as above
        raise refusal(
            path, f"not a whole picture ({str(error)[:80] or type(error).__name__}): export it again"
        ) from None


def _picture(path: Path, values: NDArray[np.generic]) -> Film:
    notes = [NO_SPACING]
    greys = values.astype(np.float32)
    if greys.ndim == 3 and greys.shape[2] in (3, 4):
        greys = greys[..., :3]
        if np.ptp(greys, axis=2).max() > 0.1 * max(float(np.ptp(greys)), 1.0):
            notes.append("the picture has colours: it may be a photograph of a screen, whose distances are not true")
        greys = greys.mean(axis=2)
    if greys.ndim != 2:
        raise refusal(path, f"a picture of shape {values.shape}", allowed="rows and columns of greys")
    if not np.isfinite(greys).all():
        raise refusal(path, "greys that are not numbers: export it again")
    return Film(greys, None, tuple(notes), str(path))


def _bounded(path: Path, rows: int, columns: int) -> None:
    if min(rows, columns) < LEAST or rows * columns > LIMIT_PIXELS:
        allowed = f"{LEAST} to {LIMIT_PIXELS // 1_000_000} million pixels in all, {LEAST} a side at least"
        raise refusal(path, f"{rows} x {columns} pixels", allowed=allowed)
