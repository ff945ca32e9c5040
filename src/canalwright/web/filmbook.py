"""Where radiographs of open cases are kept, so that a reload, a crash or a power cut loses neither film nor marks: two files each.

    <name>.png    all greys of the film, made anew (see `filmkeep`), written once
    <name>.json   its marks and use, the case that it belongs to, written anew with every mark

Files lie in the user's own data folder beside the sessions at the chair (how: `book`); they hold what an archive of the case holds, no
more: neither the film's name nor anything else of its header. A film goes when its case is closed, when nobody used it for 30 days, and
the one not used longest when there are more than 60 or they need more than 1 GiB.
"""

import contextlib
from collections.abc import Callable
from pathlib import Path

from canalwright.imaging.errors import ScanError
from canalwright.web.book import Book
from canalwright.web.chairbook import data_folder
from canalwright.web.disk import refused

MOST, ROOM = 60, 1 << 30
"""Films of one reader, and their bytes on the disk."""


class Filmbook(Book):
    """All films of this user; bytes in, bytes out."""

    beside = (".png",)

    def __init__(self, folder: Path | None = None) -> None:
        super().__init__(folder or data_folder() / "films")

    def write(self, name: str, told: bytes, picture: Callable[[], bytes]) -> None:
        """Keep what is told of a film, and its picture where that is not kept yet. Raises ScanError where the disk takes nothing."""
        at = self._path(name, "png")
        try:
            if not at.exists():
                self._put(at, picture())
            self.tell(name, told)
        except OSError as error:
            raise ScanError(f"this film is not kept: {refused(error, self.folder)}") from None
        self._bound()

    def picture(self, name: str) -> bytes | None:
        """The picture of a film; None where it is not there or cannot be read."""
        return self._read(name, "png")

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
