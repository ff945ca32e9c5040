"""What is kept of open cases and radiographs where records are open: each reader's own, sealed, erased with the person they are of."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import StoreDamaged
from canalwright.web.book import Book
from canalwright.web.filmbook import Filmbook
from canalwright.web.reader import reader


class ReaderBook(Book):
    """A book of `kind` (film, case) of `whose`, or of whoever is signed in."""

    def __init__(self, home: Path, key: bytes, kind: str, whose: str = "") -> None:
        self._home, self._key, self._kind, self._whose = home, key, kind, whose

    def of(self, whose: str) -> "ReaderBook":
        """The same for one reader."""
        return ReaderBook(self._home, self._key, self._kind, whose)

    @property
    def folder(self) -> Path:
        """The reader's own folder; its name says nothing."""
        whose = self._whose or reader()
        return self._home / hashlib.sha256(f"{self._kind}s {whose}".encode()).hexdigest()[:16]

    def folders(self) -> Iterator[Path]:
        """Those of all readers."""
        return self._home.glob("*/")

    def _sealed(self, content: bytes, name: str) -> bytes:
        return seal(self._key, content, f"{self._kind} {name}")

    def _opened(self, content: bytes, name: str) -> bytes | None:
        try:
            return unseal(self._key, content, f"{self._kind} {name}")
        except StoreDamaged:
            return None


class ReaderFilmbook(ReaderBook, Filmbook):
    """Radiographs of whoever is signed in."""

    def __init__(self, home: Path, key: bytes) -> None:
        super().__init__(home, key, "film")
