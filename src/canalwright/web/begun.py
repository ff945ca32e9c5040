"""Forms that are begun and no case yet: kept like open cases, so that a crash costs nobody what they typed.

One file each, under a name of its own, with the table of the draft. It goes once the form makes a case, when it is closed, or when nobody
used it for 30 days; the one not used longest goes when there are more than `MOST`.
"""

import contextlib
import json
from collections.abc import Iterator

from canalwright.anatomy import Tooth
from canalwright.web.book import NAME, Book
from canalwright.web.draft import Draft
from canalwright.web.reader import reader
from canalwright.web.shelf import behind

MOST = 32
ROOM = 64 * 1024
"""Longest form that is kept, bytes."""


class Begun:
    """The begun forms of all readers; without a book nothing is kept."""

    def __init__(self, book: Book | None = None) -> None:
        self._book = book
        self._over: set[str] = set()

    def over(self, name: str) -> bool:
        """Whether the form of a name was made a case or closed, in another window: what stands in this one is not kept any more."""
        return name in self._over

    def keep(self, name: str, draft: Draft) -> None:
        """Write a form down as it stands, behind the page; one that is over is not written again."""
        book, told = self._own(), json.dumps(draft.table).encode()
        if book is None or len(told) > ROOM or self.over(name):
            return

        def write() -> None:
            with contextlib.suppress(OSError):  # what is typed stands in the window still
                book.tell(name, told)
                for old in book.listed()[:-MOST]:
                    book.drop(old)

        behind().submit(write)

    def get(self, name: str) -> Draft | None:
        """The form of a name; None where none is kept."""
        book = self._own()
        if book is None or not NAME.fullmatch(name):
            return None
        behind().submit(book.used, name).result()
        return _draft(book.told(name))

    def drop(self, name: str) -> None:
        """Take a form away: it was made a case, or closed."""
        book = self._own()
        if NAME.fullmatch(name):
            self._over.add(name)
        if book is not None and NAME.fullmatch(name):
            behind().submit(book.drop, name).result()

    def listed(self) -> tuple[tuple[str, Draft], ...]:
        """Name and form of each, the one used last first."""
        return tuple(self._found())

    def forget_old(self, now: float) -> None:
        """Take away, for all readers, what nobody used for 30 days."""
        if self._book is not None:
            self._book.forget_old(now)

    def _found(self) -> Iterator[tuple[str, Draft]]:
        book = self._own()
        for name in reversed(book.listed()) if book is not None else ():
            if book is not None and (draft := _draft(book.told(name))) is not None:
                yield name, draft

    def _own(self) -> Book | None:
        return self._book.of(reader()) if self._book is not None else None


def _draft(told: bytes | None) -> Draft | None:
    """A draft from what was written down; None for what is none."""
    try:
        table = dict(json.loads(told or b""))
        Tooth(int(table["tooth"]["number"]))
        if not table["canal"] or not all(isinstance(one, dict) for one in (table["case"], *table["canal"])):
            return None
        return Draft(table)
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
