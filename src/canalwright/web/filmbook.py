"""Where radiographs of open cases are kept, so that a reload, a crash or a power cut loses neither film nor marks: two files each.

    <name>.png    all greys of the film, made anew (see `filmkeep`), written once
    <name>.json   its marks and use, the case that it belongs to, written anew with every mark

Each file is on the disk whole or not at all. Files lie in the user's own data folder beside the sessions at the chair, readable by that
user only; they hold what an archive of the case holds, no more: neither the film's name nor anything else of its header. A film goes when
its case is closed, when nobody used it for 30 days, and the one not used longest when there are more than 60 or they need more than 1 GiB.
"""

import contextlib
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from canalwright.casefile.whole import write_whole
from canalwright.imaging.errors import ScanError
from canalwright.web.chairbook import data_folder
from canalwright.web.disk import refused

NAME = re.compile(r"[0-9a-f]{16}")
KEPT = 30 * 24 * 3600.0
"""Seconds that a film is kept which nobody uses."""
MOST, ROOM = 60, 1 << 30
"""Films of one reader, and their bytes on the disk."""
TORN = 3600.0
"""Seconds after which a file that was begun and never finished is swept away."""


class Filmbook:
    """All films of this user; bytes in, bytes out."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder or data_folder() / "films"

    @property
    def folder(self) -> Path:
        """Where they lie."""
        return self._folder

    def folders(self) -> Iterator[Path]:
        """All folders of the book, those of others too."""
        yield self.folder

    def write(self, name: str, told: bytes, picture: Callable[[], bytes]) -> None:
        """Keep what is told of a film, and its picture where that is not kept yet. Raises ScanError where the disk takes nothing."""
        at = self._path(name, "png")
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not at.exists():
                write_whole(self._sealed(picture(), name), at)
            write_whole(self._sealed(told, name), self._path(name, "json"))
        except OSError as error:
            raise ScanError(f"this film is not kept: {refused(error, self.folder)}") from None
        self._bound()

    def told(self, name: str) -> bytes | None:
        """What is told of a film; None where it is not there or cannot be read."""
        return self._read(name, "json")

    def picture(self, name: str) -> bytes | None:
        """The picture of a film; None where it is not there or cannot be read."""
        return self._read(name, "png")

    def used(self, name: str) -> None:
        """A film was looked at: it is kept longer."""
        with contextlib.suppress(OSError):
            os.utime(self._path(name, "json"))

    def drop(self, name: str) -> None:
        """Take a film off the disk."""
        _gone(self._path(name, "json"))

    def listed(self) -> list[str]:
        """Names of all films, the one used last at the end."""
        return [p.stem for p in self._told_of()]

    def forget_old(self, now: float) -> None:
        """Take away, in all folders, what nobody used for 30 days, and what was never finished."""
        for path in [p for folder in self.folders() if folder.is_dir() for p in folder.iterdir()]:
            with contextlib.suppress(OSError):
                age = now - path.stat().st_mtime
                alone = path.suffix == ".png" and not path.with_suffix(".json").exists()
                if path.suffix == ".json" and age > KEPT:
                    _gone(path)
                elif age > TORN and (path.name.startswith(".") or alone):
                    path.unlink(missing_ok=True)

    def erase(self, which: Callable[[bytes], bool]) -> int:
        """Take away, in all folders, the films of which `which` says so from what is told of them; gives how many."""
        gone = 0
        for path in [p for folder in self.folders() if folder.is_dir() for p in folder.glob("*.json")]:
            told = self._opened(path.read_bytes(), path.stem)
            if told is not None and which(told):
                _gone(path)
                gone += 1
        return gone

    def _bound(self) -> None:
        """The films not used longest go where there are too many."""
        films = self._told_of()
        sizes = [self._size(p) for p in films]
        while len(films) > 1 and (len(films) > MOST or sum(sizes) > ROOM):
            self.drop(films.pop(0).stem)
            sizes.pop(0)

    def _size(self, told: Path) -> int:
        with contextlib.suppress(OSError):
            return told.stat().st_size + told.with_suffix(".png").stat().st_size
        return 0

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
            raise ValueError("a film is named by sixteen hexadecimal digits")
        return self.folder / f"{name}.{kind}"

    def _sealed(self, content: bytes, name: str) -> bytes:
        """What is written, where records are open sealed."""
        return content

    def _opened(self, content: bytes, name: str) -> bytes | None:
        """What was sealed; None where it is not ours or was changed."""
        return content


def _gone(told: Path) -> None:
    """A film off the disk; what is told of it goes first, so that no half is ever read."""
    told.unlink(missing_ok=True)
    told.with_suffix(".png").unlink(missing_ok=True)
