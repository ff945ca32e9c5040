"""The picture itself: nothing may hide beside it.

Compressed frames are decoded and written plainly, so that no comment or application segment of their format survives; bits that the
picture does not use are cleared (old overlays lay there), and whatever follows the last frame is cut off.
"""

import warnings
from typing import Any

import numpy as np
from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRBigEndian, ExplicitVRLittleEndian

from canalwright.exchange.errors import ExchangeError

SAMPLES = 3
"""Frames that are looked at for text: the first, the middle and the last."""


def plain(dataset: Dataset, name: str) -> list[str]:
    """Make the picture plain, in place; says what was done. Raises ExchangeError when it cannot be decoded."""
    done = []
    syntax = dataset.file_meta.TransferSyntaxUID
    if "PixelData" in dataset and syntax.is_compressed and syntax.is_encapsulated:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                dataset.decompress(generate_instance_uid=False)
        except Exception as error:  # decoders raise of every kind
            first = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
            raise ExchangeError(f"{name}: its picture cannot be decoded ({first}); convert it first") from None
        done.append("decoded")
    elif syntax == ExplicitVRBigEndian:
        _little(dataset)
        done.append("byte order changed")
    if "PixelData" in dataset and _trim(dataset, name):
        done.append("bytes after the picture cut off")
    if "PixelData" in dataset and _clear(dataset):
        done.append("unused bits cleared")
    dataset.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    return done


def samples(dataset: Dataset) -> list[Any]:
    """A few frames as arrays of grey, to look for text; none where there is no picture of grey or colour."""
    if "PixelData" not in dataset or int(dataset.get("BitsAllocated", 0)) not in (8, 16):
        return []
    try:
        whole = dataset.pixel_array
    except Exception:  # what cannot be shown is not looked at; the file's other rules still count
        return []
    colour = int(dataset.get("SamplesPerPixel", 1)) > 1
    frames = whole if whole.ndim == (4 if colour else 3) else whole[None]
    chosen = sorted({0, len(frames) // 2, len(frames) - 1})
    return [frames[i].mean(axis=-1) if colour else frames[i] for i in chosen]


def _little(dataset: Dataset) -> None:
    """From big-endian words to little-endian ones."""
    for element in dataset.iterall():
        size = {"OW": 2, "OF": 4, "OL": 4, "OD": 8, "OV": 8}.get(str(element.VR))
        if size and element.value:
            element.value = np.frombuffer(element.value, f">u{size}").astype(f"<u{size}").tobytes()


def _trim(dataset: Dataset, name: str) -> bool:
    frames = int(dataset.get("NumberOfFrames", 1) or 1)
    pixels = int(dataset.Rows) * int(dataset.Columns) * int(dataset.get("SamplesPerPixel", 1)) * frames
    if str(dataset.get("PhotometricInterpretation", "")) == "YBR_FULL_422":
        pixels = pixels // 3 * 2
    want = (pixels * int(dataset.BitsAllocated) + 7) // 8
    held = len(dataset.PixelData)
    if held < want:
        raise ExchangeError(f"{name}: the picture has {held} bytes and should have {want}; the file is damaged")
    dataset.PixelData = dataset.PixelData[:want] + b"\0" * (want % 2)
    dataset["PixelData"].VR = "OW" if int(dataset.BitsAllocated) > 8 else "OB"
    return held > want + want % 2


def _clear(dataset: Dataset) -> bool:
    """Clear the bits above and below the stored ones. A signed value keeps its sign in the bits above."""
    allocated, stored = int(dataset.BitsAllocated), int(dataset.get("BitsStored", dataset.BitsAllocated))
    high = int(dataset.get("HighBit", stored - 1))
    if allocated not in (8, 16, 32) or stored >= allocated or not stored - 1 <= high < allocated:
        return False
    words = np.frombuffer(dataset.PixelData, f"<u{allocated // 8}")
    low = high + 1 - stored
    mask = ((1 << stored) - 1) << low
    kept = words & np.array(mask, words.dtype)
    if int(dataset.get("PixelRepresentation", 0)) == 1 and low == 0:
        above = np.array((1 << allocated) - 1 - mask, words.dtype)
        kept = np.where(kept & np.array(1 << high, words.dtype), kept | above, kept).astype(words.dtype)
    if np.array_equal(kept, words):
        return False
    dataset.PixelData = kept.tobytes() + b"\0" * (kept.nbytes % 2)
    return True
