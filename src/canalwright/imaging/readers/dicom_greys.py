"""The greys of DICOM frames, decoded one by one as they are asked for, in any transfer syntax that can be decoded."""

import warnings as python_warnings
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.pixels.utils import iter_pixels, pixel_array

from canalwright.imaging.errors import ScanError
from canalwright.imaging.readers.apart import Apart
from canalwright.imaging.readers.bounded import dicom_inflated, fragile
from canalwright.imaging.readers.dicom_frames import SPARE, Frame
from canalwright.imaging.readers.opened import LIMIT_BYTES, Slices
from canalwright.imaging.refusal import refusal

Grey = NDArray[np.generic]


def greys(path: Path, frames: Sequence[Frame]) -> tuple[Slices, float, float]:
    """Source of the greys of `frames` in order, with one slope and intercept; differing scales are brought to float32.

    The first frame is decoded to know its kind. Raises ScanError for damage.
    """
    rows, columns = frames[0].size
    same = len({(f.slope, f.intercept) for f in frames}) == 1
    kind = next(_decoded(frames[:1])).dtype
    need = len(frames) * rows * columns * kind.itemsize
    if need > LIMIT_BYTES:
        raise refusal(path, f"{need / 2**30:.1f} GiB of greys, allowed {LIMIT_BYTES >> 30}: crop it first")

    def decode(wanted: Sequence[int]) -> Iterator[Grey]:
        chosen = [frames[k] for k in wanted]
        for frame, grey in zip(chosen, _decoded(chosen), strict=True):
            if grey.dtype != kind:
                raise refusal(path, f"slices stored as {kind} and {grey.dtype}: two series mixed? {SPARE}")
            yield grey if same else grey.astype(np.float32) * np.float32(frame.slope) + np.float32(frame.intercept)

    shape = (len(frames), rows, columns)
    if same:
        return Slices(shape, kind, decode), frames[0].slope, frames[0].intercept
    return Slices(shape, np.dtype(np.float32), decode), 1.0, 0.0


def _decoded(frames: Sequence[Frame]) -> Iterator[Grey]:
    """Stored greys of each frame. Frames of one file that follow each other are read in one pass over it."""
    with Apart() as apart:
        for file, run in groupby(frames, key=lambda f: f.path):
            several = list(run)
            found = _of_file(apart, file, [f.number for f in several], several[0].frames > 1)
            for frame in several:
                grey = _next(file, found)
                if grey.shape != frame.size:
                    raise refusal(file, f"{grey.shape} pixels decoded, Rows x Columns say {frame.size}. {SPARE}")
                yield grey


def _of_file(apart: Apart, file: Path, numbers: Sequence[int], several: bool) -> Iterator[Grey]:
    if fragile(file):
        yield from apart.decode(file, numbers if several else None)
        return
    source: Any = dicom_inflated(file) or file
    if several:
        yield from iter_pixels(source, indices=list(numbers), raw=True)
    else:
        yield pixel_array(source, raw=True)


def _next(file: Path, found: Iterator[Grey]) -> Grey:
    try:
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            return np.asarray(next(found))
    except (ScanError, MemoryError):
        raise
    except StopIteration:
        raise refusal(file, f"fewer frames decoded than NumberOfFrames says. {SPARE}") from None
    except Exception as error:  # the decoders raise of every kind on damaged input
        said = str(error).splitlines()[0][:90] if str(error) else "damaged"
        raise refusal(file, f"the pixels cannot be decoded ({said}). {SPARE}") from None
