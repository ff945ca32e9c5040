"""The chain: each row carries the SHA-256 of its own canonical JSON after the hash of the row before.

    hash[n] = SHA-256(hash[n-1] || canonical JSON of row n),   hash[0] = SHA-256(name of the store and of the chain)
    mark[n] = HMAC-SHA-256(chain key, hash[n])

The hash shows that a row was changed, left out or put in between; the mark, that the row was written by somebody
who could open the records, not merely the database. What neither shows is that the newest rows were cut off as a
whole, or an old copy put back: compare with heads kept elsewhere (each backup carries one). Somebody who holds the
passphrase and can write the file can forge the chain.
"""

import hashlib
import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from canalwright.records.canonical import canonical
from canalwright.records.errors import StoreDamaged


@dataclass(frozen=True)
class Head:
    """The newest row of a chain: its number (0: none yet) and its hash, hexadecimal."""

    seq: int
    hash: str


@dataclass(frozen=True)
class Row:
    """One row as read back: its number, what its hash covers, and what was stored beside it."""

    seq: int
    header: Mapping[str, object]
    hash: bytes
    mark: bytes


def genesis(store: str, name: str) -> bytes:
    """The hash before the first row: it ties the chain to its store."""
    return hashlib.sha256(f"canalwright {store} {name}".encode()).digest()


def link(previous: bytes, header: Mapping[str, object]) -> bytes:
    """Hash of the row that comes after `previous`."""
    return hashlib.sha256(previous + canonical(header)).digest()


def mark(key: bytes, row_hash: bytes) -> bytes:
    """Mark of a row, by the key of the chain."""
    return hmac.digest(key, row_hash, "sha256")


def verify(rows: Iterable[Row], start: bytes, key: bytes, end: Head, known: Iterable[Head] = ()) -> Head:
    """Check every row from the first to `end`, and the `known` heads kept elsewhere; gives back the head.

    Raises StoreDamaged with the number of the first row that is not as it was written.
    """
    expected = {head.seq: head.hash for head in known if head.seq > 0}
    previous, seq = start, 0
    for row in rows:
        seq += 1
        if row.seq != seq:
            raise StoreDamaged(
                f"row {seq} is missing from the chain: somebody took it out. Restore a backup and compare"
            )
        previous = link(previous, row.header)
        if previous != row.hash or not hmac.compare_digest(mark(key, previous), row.mark):
            raise StoreDamaged(f"row {seq} is not as it was written. Restore a backup and compare")
        if expected.pop(seq, previous.hex()) != previous.hex():
            raise StoreDamaged(f"row {seq} differs from the backup made after it. Restore that backup and compare")
    head = Head(seq, previous.hex())
    if head != end:
        raise StoreDamaged(f"the chain ends at row {seq} but should end at row {end.seq}: rows were cut off or added")
    if expected:
        raise StoreDamaged(
            f"row {max(expected)} is in a backup but no longer here: rows were cut off, or an old copy put back"
        )
    return head
