"""Stacks of TIFF or PNG pictures, whose voxel size the user must give."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from canalwright.imaging.errors import ScanError
from canalwright.imaging.grid import affine_from
from canalwright.imaging.readers.bounded import packed_page
from canalwright.imaging.readers.itk import DEFLATE_LIMIT
from canalwright.imaging.readers.opened import LIMIT_BYTES, Opened, Slices
from canalwright.imaging.refusal import refusal, silent

VoxelSize = float | tuple[float, float, float]
"""A voxel's size, mm: one number for cubes, or three (along a row, down the rows, from slice to slice)."""
PICTURES = (".tif", ".tiff", ".png")
LEAST_SLICES = 3


def voxel_size(text: str) -> VoxelSize:
    """What a user wrote for a voxel size, mm: one number for cubes, or three (along a row, down the rows, from slice to slice).

    Between the three stand commas, semicolons, spaces or crosses; "0,15" alone is a number with a decimal comma. Raises
    ScanError for anything else.
    """
    said = re.sub(r",\s+|\s*[;x×]\s*|\s+", ";", text.strip())
    comma = "." not in said and said.count(",") == 1
    parts = said.replace(",", ".").split(";") if ";" in said or comma else said.split(",")
    try:
        sizes = [float(part) for part in parts]
    except ValueError:
        sizes = []
    if len(sizes) not in (1, 3) or not all(0 < size < float("inf") for size in sizes):
        raise ScanError(
            f"voxel size {text[:40]!r}: one number in mm, such as 0.2, or three above 0 with commas between (along a row, "
            "down the rows, from slice to slice), such as 0.15,0.15,0.3"
        )
    return sizes[0] if len(sizes) == 1 else (sizes[0], sizes[1], sizes[2])


def open_stack(path: Path, voxel: VoxelSize | None) -> Opened:
    """Open a multi-page TIFF, or a folder of pictures in the order of the numbers in their names.

    Axes: x along a row, y down the rows, z along the stack, first voxel at the origin: pictures say nothing of the
    patient, so left and right cannot be told. Raises ScanError without a voxel size, for colour, for slices of
    different size, missing numbers in the names and fewer than 3 slices.
    """
    if voxel is None:
        raise refusal(path, "pictures carry no voxel size, so no length in mm can be told: give voxel=(x, y, z) in mm")
    size = np.broadcast_to(np.asarray(voxel, dtype=float), (3,))
    if not np.all((size >= 0.0005) & (size <= 2)):
        raise refusal(path, f"voxel {voxel}, allowed 0.0005 to 2 mm: is it in micrometres?")
    slices = _folder(path) if path.is_dir() else _file(path)
    if slices.shape[0] < LEAST_SLICES:
        raise refusal(path, f"{slices.shape[0]} slices, allowed {LEAST_SLICES} or more: give the whole stack")
    note = "a stack of pictures does not say which side is the patient's left: mirror images cannot be told apart"
    return Opened(slices, affine_from(np.zeros(3), np.diag(size)), warnings=(note,), path=str(path))


def _file(path: Path) -> Slices:
    if path.suffix.lower() == ".png":
        raise refusal(path, "one picture is not a volume: give the folder with all slices")
    return _tiff(path)


def _tiff(path: Path) -> Slices:
    with _whole_tiff(path) as tiff:
        pages = list(tiff.pages)
        shape, kind = pages[0].shape, pages[0].dtype
        if len(shape) != 2 or kind is None or kind.kind not in "uif":
            raise refusal(path, f"page shape {shape}, type {kind}; allowed: grey pages: export it as grey")
        if any(page.shape != shape or page.dtype != kind for page in pages):
            raise refusal(path, "pages of different size or type: give the slices of one scan only")
        _bounded(path, (len(pages), *shape), kind.itemsize, path.stat().st_size)

    def decode(wanted: Sequence[int]) -> Iterator[NDArray[np.generic]]:
        with _whole_tiff(path) as tiff:
            for k in wanted:
                packed_page(path, tiff.pages[k])
                one = np.asarray(tiff.pages[k].asarray())
                if one.shape != shape or one.dtype != np.dtype(kind).newbyteorder("="):
                    raise refusal(path, f"page {k + 1} decodes to {one.shape} {one.dtype}, not {shape} {kind}: damaged")
                yield one

    return Slices((len(pages), *shape), np.dtype(kind).newbyteorder("="), decode)


@contextmanager
def _whole_tiff(path: Path) -> Iterator[tifffile.TiffFile]:
    try:
        with silent("tifffile"), tifffile.TiffFile(path) as tiff:
            yield tiff
    except (ScanError, GeneratorExit, MemoryError):
        raise
    except Exception as error:  # the decoder raises of every kind on damaged input
        raise refusal(path, f"not a whole TIFF ({str(error)[:80] or type(error).__name__}): export it again") from None


def _picture(path: Path) -> NDArray[np.generic]:
    if path.suffix.lower() != ".png":
        pages = _tiff(path)
        if pages.shape[0] != 1:
            raise refusal(path, f"{pages.shape[0]} pages in one file of a folder, allowed 1: give that file alone")
        return next(pages.slices(range(1)))
    try:
        with Image.open(path, formats=["PNG"]) as picture:
            if picture.mode not in ("L", "I;16", "I;16B", "I", "F"):
                raise refusal(path, f"colour mode {picture.mode}, allowed grey of 8 or 16 bits: export it as grey")
            _bounded(path, (1, picture.height, picture.width), 2, path.stat().st_size)
            return np.asarray(picture)
    except (ScanError, MemoryError):
        raise
    except Exception as error:  # as above
        raise refusal(path, f"not a whole PNG ({str(error)[:80] or type(error).__name__}): export it again") from None


def _folder(path: Path) -> Slices:
    files = [p for p in path.iterdir() if p.is_file() and p.suffix.lower() in PICTURES and not p.name.startswith(".")]
    numbers = {p: [int(n) for n in re.findall(r"\d+", p.stem)] for p in files}
    if any(not n for n in numbers.values()):
        odd = next(p for p, n in numbers.items() if not n)
        raise refusal(odd, "no slice number in its name, so its place is unknown: number the slices")
    files.sort(key=lambda p: numbers[p])
    order = [numbers[p][-1] for p in files]
    steps = np.diff(order)
    if len(steps) and (steps.min() < 1 or steps.max() != steps.min()):
        at = int(np.argmax(steps != np.median(steps)))
        raise refusal(
            path,
            f"slice numbers jump from {order[at]} to {order[at + 1]}: a slice is missing or double; "
            "give every slice once",
        )
    first = _picture(files[0])
    shape = (len(files), int(first.shape[0]), int(first.shape[1]))
    _bounded(path, shape, first.dtype.itemsize, 1 << 62)

    def decode(wanted: Sequence[int]) -> Iterator[NDArray[np.generic]]:
        for k in wanted:
            one = _picture(files[k])
            if one.shape != first.shape or one.dtype != first.dtype:
                raise refusal(
                    files[k],
                    f"{one.shape} {one.dtype}, the first slice {first.shape} {first.dtype}: slices of two scans?",
                )
            yield one

    return Slices(shape, first.dtype, decode)


def _bounded(path: Path, shape: tuple[int, ...], each: int, stored: int) -> None:
    need = int(np.prod(shape, dtype=object)) * each
    if need > LIMIT_BYTES or need > stored * DEFLATE_LIMIT * 4:
        raise refusal(
            path,
            f"claims {need} bytes of greys from {stored} stored (allowed {LIMIT_BYTES} in all): damaged or not a scan",
        )
