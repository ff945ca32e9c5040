"""The chair's book where records are open: each reader's own, every line sealed, and forgotten after a month.

So no case lies open beside the encrypted records, and what was worth keeping is kept with its case.
"""

import hashlib
from base64 import b64decode, b64encode
from collections.abc import Iterable
from pathlib import Path

from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import StoreDamaged
from canalwright.web.chairbook import Chairbook
from canalwright.web.reader import reader

KEPT = 30 * 24 * 3600.0


class ReaderChairbook(Chairbook):
    """Sessions at the chair of whoever is signed in."""

    def __init__(self, home: Path, key: bytes) -> None:
        self._home, self._key = home, key

    @property
    def folder(self) -> Path:  # type: ignore[override]
        """The reader's own folder; its name says nothing."""
        return self._home / hashlib.sha256(f"chair {reader()}".encode()).hexdigest()[:16]

    def forget_old(self, now: float) -> int:
        """Delete sessions of all readers that nobody touched for 30 days; gives how many."""
        old = [p for p in self._home.glob("*/*.jsonl") if now - p.stat().st_mtime > KEPT]
        for path in old:
            path.unlink(missing_ok=True)
        return len(old)

    def _write(self, path: Path, lines: list[str], *, new: bool = False) -> None:
        sealed = [b64encode(seal(self._key, line.encode(), path.stem)).decode() for line in lines]
        super()._write(path, sealed, new=new)

    def folders(self) -> Iterable[Path]:
        """Those of all readers."""
        return self._home.glob("*/")

    def _told(self, path: Path) -> list[bytes]:
        """The lines in the clear; one that was torn or changed is left out like any damaged line."""
        return [self._opened(line, path.stem) for line in super()._told(path)]

    def _opened(self, line: bytes, ident: str) -> bytes:
        try:
            return unseal(self._key, b64decode(line, validate=True), ident)
        except (ValueError, StoreDamaged):
            return b""
