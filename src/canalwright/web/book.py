"""A folder of things that outlast the server: for each a file `<name>.json` that tells of it, and what lies beside it under the same name.

Each file is on the disk whole or not at all, and readable by its owner only; where records are open it is sealed (`records.sealed`).
A thing goes when it is dropped, or when nobody used it for 30 days.
"""

import contextlib
import os
import re
from collections.abc import Callable, Collection, Iterator
from pathlib import Path

from canalwright.casefile.whole import write_whole

NAME = re.compile(r"[0-9a-f]{16}")
KEPT = 30 * 24 * 3600.0
"""Seconds that a thing is kept which nobody uses."""
TORN = 3600.0
"""Seconds after which a file that was begun and never finished is swept away."""


class Book:
    """Things of one user; bytes in, bytes out. `beside` names the endings of the files beside what is told."""

    beside: tuple[str, ...] = ()

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def of(self, whose: str) -> "Book":
        """The book of one reader; here there is but one."""
        return self

    @property
    def folder(self) -> Path:
        """Where they lie."""
        return self._folder

    def folders(self) -> Iterator[Path]:
        """All folders of the book, those of others too."""
        yield self.folder

    def tell(self, name: str, told: bytes) -> None:
        """Write down what is told of a thing. Raises OSError where the disk takes nothing."""
        self._put(self._path(name, "json"), told)

    def told(self, name: str) -> bytes | None:
        """What is told of a thing; None where it is not there or cannot be read."""
        return self._read(name, "json")

    def used(self, name: str) -> None:
        """A thing was looked at: it is kept longer."""
        with contextlib.suppress(OSError):
            os.utime(self._path(name, "json"))

    def drop(self, name: str) -> None:
        """Take a thing off the disk."""
        self._gone(self._path(name, "json"))

    def listed(self) -> list[str]:
        """Names of all things, the one used last at the end."""
        return [path.stem for path in self._told_of()]

    def forget_old(self, now: float) -> None:
        """Take away, in all folders, what nobody used for 30 days, and what was never finished."""
        for path in [p for folder in self.folders() if folder.is_dir() for p in folder.iterdir()]:
            with contextlib.suppress(OSError):
                age = now - path.stat().st_mtime
                alone = path.suffix in self.beside and not path.with_suffix(".json").exists()
                if path.suffix == ".json" and age > KEPT:
                    self._gone(path)
                elif age > TORN and (path.name.startswith(".") or alone):
                    path.unlink(missing_ok=True)

    def erase(self, which: Callable[[dict[str, bytes]], Collection[str]]) -> None:
        """Take away, in each folder, the things that `which` names from what is told of all that lie there by name."""
        for folder in [f for f in self.folders() if f.is_dir()]:
            told: dict[str, bytes] = {}
            for path in folder.glob("*.json"):
                with contextlib.suppress(OSError):
                    if (content := self._opened(path.read_bytes(), path.stem)) is not None:
                        told[path.stem] = content
            for name in which(told):
                self._gone(folder / f"{name}.json")

    def _put(self, path: Path, content: bytes) -> None:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(self._sealed(content, path.stem), path)

    def _told_of(self) -> list[Path]:
        if not self.folder.is_dir():
            return []
        aged = []
        for path in self.folder.glob("*.json"):
            with contextlib.suppress(OSError):
                if NAME.fullmatch(path.stem):
                    aged.append((path.stat().st_mtime_ns, path))
        return [path for _, path in sorted(aged)]

    def _read(self, name: str, kind: str) -> bytes | None:
        try:
            return self._opened(self._path(name, kind).read_bytes(), name)
        except OSError:
            return None

    def _path(self, name: str, kind: str) -> Path:
        if not NAME.fullmatch(name):
            raise ValueError("what is kept is named by sixteen hexadecimal digits")
        return self.folder / f"{name}.{kind}"

    def _gone(self, told: Path) -> None:
        """A thing off the disk; what is told of it goes first, so that no half is ever read."""
        told.unlink(missing_ok=True)
        for ending in self.beside:
            told.with_suffix(ending).unlink(missing_ok=True)

    def _sealed(self, content: bytes, name: str) -> bytes:
        """What is written, where records are open sealed."""
        return content

    def _opened(self, content: bytes, name: str) -> bytes | None:
        """What was sealed; None where it is not ours or was changed."""
        return content
