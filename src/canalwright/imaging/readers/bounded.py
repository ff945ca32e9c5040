"""What is made sure of before a library is let at a file from outside: that it is a file, that its header ends, that what is packed
in it does not grow out of all measure.

The libraries read a header to wherever it ends and inflate whatever is packed, in one go: a file of a few megabytes could ask for
all the memory there is, and an empty one of ten gigabytes for hours.
"""

import io
import zlib
from pathlib import Path
from typing import Any

from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.filereader import read_dataset, read_preamble
from pydicom.pixels.decoders import base as decoders
from pydicom.uid import DeflatedExplicitVRLittleEndian, JPEGLossless, JPEGLosslessSV1

from canalwright.imaging.refusal import refusal

LARGEST_HEADER = 16 << 20
"""Bytes of a DICOM header that are read before it is given up; an enhanced CT of a thousand frames needs about one megabyte."""
LARGEST_INFLATED = 2 << 30
"""Bytes to which a deflated DICOM file may grow: an image of 1000 cubes of 16 bits."""
CHUNK = 1 << 20
_DEFLATE, _SLOW_GROWING = (8, 32946), (1, 32773)
"""TIFF compressions by their number: deflate, old and new; none, and PackBits, which grows to 64 times at most."""


for _decoder in (
    decoders.JPEGBaseline8BitDecoder, decoders.JPEGExtended12BitDecoder, decoders.JPEGLSLosslessDecoder,
    decoders.JPEGLSNearLosslessDecoder, decoders.JPEG2000LosslessDecoder, decoders.JPEG2000Decoder,
):  # fmt: skip
    # damaged pixels can end the whole process in this one; for these there are others
    if len(_decoder.available_plugins) > 1 and "gdcm" in _decoder.available_plugins:
        _decoder.remove_plugin("gdcm")


class _Header(io.FileIO):
    """A file of which only so many bytes may be read; skipping is free."""

    left = LARGEST_HEADER

    def readinto(self, buffer: Any, /) -> int:
        """As of a file. Raises ValueError once too much was read."""
        got = super().readinto(buffer) or 0
        self.left -= got
        if self.left < 0:
            raise ValueError(f"over {LARGEST_HEADER >> 20} MiB of header")
        return got

    def readall(self) -> bytes:
        """What may still be read. Raises ValueError where there is more."""
        return b"".join(iter(lambda: self.read(CHUNK), b""))


def dicom_header(file: Path) -> Dataset:
    """The elements of a DICOM file before its pixels. Raises ScanError, and what the parser raises for a damaged one."""
    inflated = dicom_inflated(file, pixels=False)
    if inflated is not None:
        return inflated
    with io.BufferedReader(_Header(file, "r")) as stream:
        return dcmread(stream, stop_before_pixels=True)


def dicom_inflated(file: Path, *, pixels: bool = True) -> Dataset | None:
    """A file that is deflated as a whole, and so cannot be entered half way; None for any other.

    Raises ScanError for what is no file and for one that grows too much; what the parser raises for a damaged one.
    """
    syntax, start = _syntax(file)
    if syntax != DeflatedExplicitVRLittleEndian:
        return None
    with file.open("rb") as packed:
        packed.seek(start)
        inflate, grown = zlib.decompressobj(-zlib.MAX_WBITS), 0
        while (data := inflate.unconsumed_tail or packed.read(CHUNK)) and not inflate.eof:
            grown += len(inflate.decompress(data, CHUNK))
            if grown > LARGEST_INFLATED:
                raise refusal(
                    file, f"grows to more than {LARGEST_INFLATED >> 20} MiB when inflated: damaged or not a scan"
                )
    return dcmread(file, stop_before_pixels=not pixels)


def fragile(file: Path) -> bool:
    """Whether only a decoder that damaged pixels can end, with the process it runs in, reads this file's (see `apart`)."""
    syntax, _ = _syntax(file)
    return syntax in (JPEGLossless, JPEGLosslessSV1)


def _syntax(file: Path) -> tuple[str, int]:
    """The transfer syntax of a DICOM file, and the byte where its elements begin."""
    if not file.is_file():
        raise refusal(file, "a device or a pipe", allowed="a file")
    with io.BufferedReader(_Header(file, "r")) as stream:
        read_preamble(stream, False)
        meta = read_dataset(stream, False, True, stop_when=lambda tag, vr, length: tag >> 16 != 2)
        return str(meta.get("TransferSyntaxUID", "")), stream.tell()


def packed_page(path: Path, page: Any) -> None:
    """See that the strips or tiles of a TIFF page grow to no more than the page says. Raises ScanError; zlib.error for a damaged one."""
    packing = int(page.compression)
    if packing in _SLOW_GROWING:
        return
    if packing not in _DEFLATE:
        raise refusal(path, f"TIFF compression {packing}", allowed="none, deflate, PackBits", remedy="export it so")
    most = int(page.dtype.itemsize)
    for side in page.chunks:
        most *= int(side)
    with path.open("rb") as stream:
        for offset, size in zip(page.dataoffsets, page.databytecounts, strict=True):
            stream.seek(offset)
            if len(zlib.decompressobj().decompress(stream.read(size), most + 1)) > most:
                raise refusal(
                    path, f"a strip grows to more than the {most} bytes that its page says: damaged; export it again"
                )
