"""Radiographs of open cases where records are open: each reader's own, sealed, and erased with the person they are of."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import StoreDamaged
from canalwright.web.filmbook import Filmbook
from canalwright.web.reader import reader


class ReaderFilmbook(Filmbook):
    """Radiographs of whoever is signed in."""

    def __init__(self, home: Path, key: bytes) -> None:
        self._home, self._key = home, key

    @property
    def folder(self) -> Path:
        """The reader's own folder; its name says nothing."""
        return self._home / hashlib.sha256(f"films {reader()}".encode()).hexdigest()[:16]

    def folders(self) -> Iterator[Path]:
        """Those of all readers."""
        return self._home.glob("*/")

    def _sealed(self, content: bytes, name: str) -> bytes:
        return seal(self._key, content, f"film {name}")

    def _opened(self, content: bytes, name: str) -> bytes | None:
        try:
            return unseal(self._key, content, f"film {name}")
        except StoreDamaged:
            return None
