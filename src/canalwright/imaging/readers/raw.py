"""Greys that lie in one run of a file, as they are or deflated, read slice by slice."""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from canalwright.imaging.refusal import refusal

CHUNK = 1 << 20


@dataclass(frozen=True)
class Raw:
    """Voxels [z, y, x] of kind `stored` from byte `offset` on; `packed`: deflated from there (zlib or gzip).

    `skip`: bytes of a packed run that come before the voxels.
    """

    path: Path
    offset: int
    shape: tuple[int, int, int]
    stored: np.dtype[Any]
    packed: bool = False
    skip: int = 0

    @property
    def dtype(self) -> np.dtype[Any]:
        """Kind of the greys in this machine's byte order."""
        return self.stored.newbyteorder("=")

    def slices(self, wanted: range) -> Iterator[NDArray[np.generic]]:
        """The slices `wanted` (rising), each [y, x]. Raises ScanError where the file ends or is damaged."""
        _, ny, nx = self.shape
        size = ny * nx * self.stored.itemsize
        with self.path.open("rb") as stream:
            stream.seek(self.offset)
            if not self.packed:
                stream.seek(size * wanted.start, 1)
            run = _Inflated(stream) if self.packed else stream
            try:
                if self.packed:
                    self._whole(run.read(self.skip), self.skip)
                    for _ in range(wanted.start):
                        run.read(size)
                for _ in wanted:
                    found = np.frombuffer(self._whole(run.read(size), size), self.stored).reshape(ny, nx)
                    yield found.astype(self.dtype, copy=False)
                if isinstance(run, _Inflated) and wanted.stop == self.shape[0]:
                    run.finish()
            except (zlib.error, EOFError) as error:
                raise refusal(
                    self.path, f"the packed voxels are cut short or damaged ({error}): copy or export it again"
                ) from None

    def _whole(self, data: bytes, size: int) -> bytes:
        if len(data) != size:
            raise refusal(self.path, "the voxels are cut short: copy or export it again")
        return data


class _Inflated:
    """A deflated stream, zlib or gzip (also of several members), inflated as far as it is read."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._inflate = zlib.decompressobj(zlib.MAX_WBITS | 32)
        self._rest = b""

    def read(self, size: int) -> bytes:
        """The next `size` bytes. Raises EOFError when the stream ends before, zlib.error when it is damaged."""
        parts, missing = [], size
        while missing:
            part = self._more(missing)
            if not part and self._inflate.eof:
                raise EOFError("it ends too early")
            parts.append(part)
            missing -= len(part)
        return b"".join(parts)

    def finish(self) -> None:
        """Read to the stream's own end, where its check sum is."""
        for _ in range(16):
            if self._inflate.eof:
                return
            self._more(CHUNK)
        raise EOFError("it does not end")

    def _more(self, most: int) -> bytes:
        if self._inflate.eof and self._inflate.unused_data[:2] == b"\x1f\x8b":
            self._rest = self._inflate.unused_data
            self._inflate = zlib.decompressobj(zlib.MAX_WBITS | 32)
        if not self._rest and not self._inflate.eof:
            self._rest = self._stream.read(CHUNK)
        last = not self._rest
        part = self._inflate.decompress(self._rest, most)
        self._rest = self._inflate.unconsumed_tail
        if last and not part and not self._inflate.eof:
            raise EOFError("it ends too early")
        return part
