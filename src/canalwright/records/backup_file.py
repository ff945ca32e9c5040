"""The format of a backup: a readable header, then sealed pieces.

    canalwright backup 1\\n
    length (4 bytes, big-endian) and header, JSON: version of the tables, head of the chain, the key file, count of rows
    pieces: length (4 bytes) and AES-256-GCM of a compressed run of rows, one JSON array [table, row] a line

Each piece is authenticated together with the header's hash, its place and whether it is the last: pieces cannot be
changed, swapped, left out or cut off. One format for SQLite and PostgreSQL; it opens with the passphrase alone.
"""

import hashlib
import json
import struct
import zlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, BinaryIO

from canalwright.records.canonical import canonical
from canalwright.records.chain import Head
from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import ArchiveDamaged, StoreDamaged, StoreTooNew
from canalwright.records.keys import KeyFile

MAGIC = b"canalwright backup "
VERSION = 1
PIECE = 1 << 20
LARGEST_PIECE = 256 << 20
Row = tuple[str, dict[str, Any]]


@dataclass(frozen=True)
class Header:
    """What a backup says of itself. `revision` is the version of the tables, `head` the newest event."""

    made: str
    revision: str
    head: Head
    rows: int
    key_file: KeyFile

    def as_json(self) -> dict[str, object]:
        """As JSON types."""
        return {**asdict(self), "key_file": self.key_file.as_json()}


def write_backup(file: BinaryIO, header: Header, key: bytes, rows: Iterable[Row]) -> None:
    """Write a whole backup."""
    head = canonical(header.as_json())
    file.write(MAGIC + b"%d\n" % VERSION + struct.pack(">I", len(head)) + head)
    context = hashlib.sha256(head).hexdigest()
    piece = bytearray()
    number = 0
    for table, row in rows:
        piece += json.dumps([table, {k: _pack(v) for k, v in row.items()}]).encode() + b"\n"
        if len(piece) >= PIECE:
            _write_piece(file, key, bytes(piece), f"{context} {number} more")
            number, piece = number + 1, bytearray()
    _write_piece(file, key, bytes(piece), f"{context} {number} last")


def read_header(path: Path) -> Header:
    """The header of a backup, not yet authenticated. Raises ArchiveDamaged, StoreTooNew."""
    with path.open("rb") as file:
        return _header(file)[0]


def read_rows(path: Path, key: bytes) -> Iterator[Row]:
    """The rows, each piece checked before it is used. Raises ArchiveDamaged at the first that is not as written."""
    with path.open("rb") as file:
        header, context = _header(file)
        number, rows, last = 0, 0, False
        while not last:
            sealed = _sized(file, path)
            try:
                plain, last = _open_piece(key, sealed, f"{context} {number}")
            except StoreDamaged:
                raise ArchiveDamaged(f"piece {number} of {path.name} is damaged: use another backup") from None
            number += 1
            for line in zlib.decompress(plain).splitlines():
                table, row = json.loads(line)
                rows += 1
                yield table, {k: _unpack(v) for k, v in row.items()}
        if file.read(1) or rows != header.rows:
            raise ArchiveDamaged(f"{path.name} does not end where it should: use another backup")


def _header(file: BinaryIO) -> tuple[Header, str]:
    first = file.readline(64)
    if not first.startswith(MAGIC):
        raise ArchiveDamaged("this file is no backup of records")
    if first != MAGIC + b"%d\n" % VERSION:
        raise StoreTooNew("this backup was made by another version of the program: restore it with that one")
    data = _sized(file, None)
    try:
        h = json.loads(data)
        head = Head(int(h["head"]["seq"]), str(h["head"]["hash"]))
        key_file = KeyFile.from_json(h["key_file"])
        header = Header(str(h["made"]), str(h["revision"]), head, int(h["rows"]), key_file)
        return header, hashlib.sha256(data).hexdigest()
    except (ValueError, KeyError, TypeError, StoreDamaged) as error:
        raise ArchiveDamaged(f"the header of this backup is damaged ({error}): use another backup") from None


def _sized(file: BinaryIO, path: Path | None) -> bytes:
    size = file.read(4)
    length = struct.unpack(">I", size)[0] if len(size) == 4 else LARGEST_PIECE + 1
    data = file.read(length) if length <= LARGEST_PIECE else b""
    if len(data) != length:
        raise ArchiveDamaged(f"{path.name if path else 'this backup'} is cut off or damaged: use another backup")
    return data


def _write_piece(file: BinaryIO, key: bytes, plain: bytes, context: str) -> None:
    sealed = seal(key, zlib.compress(plain, 1), context)
    file.write(struct.pack(">I", len(sealed)) + sealed)


def _open_piece(key: bytes, sealed: bytes, context: str) -> tuple[bytes, bool]:
    try:
        return unseal(key, sealed, f"{context} more"), False
    except StoreDamaged:
        return unseal(key, sealed, f"{context} last"), True


def _pack(value: object) -> object:
    return {"b": b64encode(bytes(value)).decode()} if isinstance(value, bytes | memoryview) else value


def _unpack(value: object) -> object:
    return b64decode(str(value["b"])) if isinstance(value, Mapping) else value
