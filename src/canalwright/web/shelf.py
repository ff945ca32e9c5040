"""The cases that are open: each under the digest of its content, on the disk too where the shelf has a book.

A case never changes; an edit is another case under another key. So two windows on one case cannot overwrite each other, and a
link always shows what it showed. What lies on the shelf outlasts the server: every change is written behind the page, one file for each
state of a case, and is there again under the same key. The last states that a case went through are kept with it; a case goes when it is
closed, or when nobody used it for 30 days. More cases than `MOST` are not taken in, so that none is lost for another.
"""

import contextlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import cache

from canalwright import casefile
from canalwright.casefile import Case, CaseError
from canalwright.web.book import Book
from canalwright.web.disk import refused
from canalwright.web.held import KEY, MOST_PAST, Held, one_case

MOST, ROOM = 64, 64 << 20
"""Cases that may be open, and bytes of all states of them."""
MOST_OLDER = 64
"""States that cases went through before, the last ones."""
FULL = f"as many cases are open as are kept ({MOST}, or {ROOM >> 20} MB): close one on the start page first"
CLOSED = "this case is not open any more; open its file again"
TOUCH = 3600.0
"""Seconds between two times that a use is written down."""


class ShelfFull(ValueError):
    """One case more than may be open."""


class CaseGone(ValueError):
    """A change of a case that is not open any more."""


class Shelf:
    """Open cases by key, the one looked at last at the end."""

    def __init__(self, book: Book | None = None, most: int = MOST) -> None:
        self.most = most
        self.trouble = ""
        self._book, self._read = book, book is None
        self._held: OrderedDict[str, Held] = OrderedDict()
        self._cases: dict[str, Case] = {}
        self._newer: dict[str, str] = {}
        self._touched: dict[str, float] = {}
        self._writing: Future[None] | None = None
        self._lock = threading.RLock()

    def take(self, case: Case) -> str:
        """Lay a case on the shelf that is opened anew. Raises ShelfFull where there are too many."""
        with self._lock:
            self._ready()
            full = sum(key not in self._newer for key in self._held) >= self.most or self._bytes() > ROOM
            if full and case.digest[:KEY] not in self._held:
                raise ShelfFull(FULL)
            return self.put(case)

    def put(self, case: Case, instead_of: str = "") -> str:
        """Lay a case on the shelf and give its key; the one it was made from stays open but is not listed any more.

        Raises CaseGone where that one is not open: what was closed or erased does not come back as a change of itself.
        """
        with self._lock:
            self._ready()
            if instead_of and not self.knows(instead_of):
                raise CaseGone(CLOSED)
            key = case.digest[:KEY]
            before, there = self._held.get(instead_of), self._held.get(key)
            if there is not None and instead_of in ("", key) and key not in self._newer:
                self._held.move_to_end(key)
                return key
            text = there.case if there else casefile.dumps(case)
            made = Held(key, text, made=time.time_ns()) if there is None else replace(there, made=time.time_ns())
            if instead_of not in ("", key):
                past = (*(before.past if before else ()), instead_of)
                made = replace(made, past=tuple(k for k in past if k != key)[-MOST_PAST:])
            if before is not None:
                made = replace(made, record=before.record or made.record, last=before.last or made.last)
            self._lay(made)
            self._cases[key] = case
            self._write(made)
            self._bound()
            return key

    def get(self, key: str) -> Case | None:
        """The case of a key, or None when it is not open (any more)."""
        with self._lock:
            self._ready()
            case = self._case(key)
            if case is not None:
                self._held.move_to_end(key)
                self._use(self._held[key])
            return case

    def drop(self, keys: Collection[str]) -> None:
        """Take cases off the shelf, and off the disk."""
        with self._lock:
            self._ready()
            for key in keys:
                self._off(key)

    def note(self, key: str, case: str) -> None:
        """Remember which case of the records an open one is, and what it was made from."""
        self._change(self.line(key), lambda held: replace(held, record=case))

    def came_from(self, key: str) -> str:
        """The case of the records that an open one belongs to; empty when none."""
        with self._lock:
            self._ready()
            held = self._held.get(key)
            return held.record if held else ""

    def looked(self, key: str, last: str) -> None:
        """Remember where on the pages of a case one was last, with what was chosen there."""
        self._change((key,), lambda held: replace(held, last=last))

    def last(self, key: str) -> str:
        """Where on the pages of a case one was last: the end of an address; empty where nothing is known."""
        with self._lock:
            self._ready()
            held = self._held.get(key)
            return held.last if held else ""

    def line(self, key: str) -> tuple[str, ...]:
        """A key and those of the cases that it was made from, one change after the other."""
        with self._lock:
            self._ready()
            found = [key]
            while held := self._held.get(found[-1]):
                further = [k for k in reversed(held.past) if k not in found]
                if not further:
                    break
                found += further
            return tuple(found)

    def knows(self, key: str) -> bool:
        """Whether the case of a key is open, in this state or in one that was made from it."""
        with self._lock:
            self._ready()
            return key in self._held or any(key in held.past for held in self._held.values())

    def newer(self, key: str) -> str:
        """The key of what a case was last changed into, also where this state is not kept any more; '' where it is the latest."""
        with self._lock:
            self._ready()
            found = key
            if key not in self._held:
                made_from = [held for held in self._held.values() if key in held.past]
                found = max(made_from, key=lambda held: held.made).key if made_from else key
            seen = {key, found}
            while (after := self._newer.get(found, "")) in self._held and after not in seen:
                found = after
                seen.add(found)
            return found if found != key else ""

    def listed(self) -> tuple[tuple[str, Case], ...]:
        """Key and case of each, the one looked at last first."""
        with self._lock:
            self._ready()
            keys = [key for key in reversed(self._held) if key not in self._newer]
            return tuple((key, case) for key in keys if (case := self._case(key)) is not None)

    def erase(self, cases: Collection[str], records: Collection[str]) -> set[str]:
        """Take the cases of these keys, and those that belong to these cases of the records, off the shelf with all their states.

        Gives the keys of all these states, of those too that were not kept any more.
        """
        with self._lock:
            self._ready()
            found = one_case(tuple(self._held.values()), cases, records)
            self.drop(found)
            return found

    def settle(self) -> str:
        """Wait until all is on the disk; gives why it could not be, nothing where it could."""
        writing = self._writing
        if writing is not None:
            writing.result()
        return self.trouble

    def _case(self, key: str) -> Case | None:
        if key in self._held and key not in self._cases:
            try:
                self._cases[key] = casefile.loads(self._held[key].case, "case")
            except CaseError:  # of another version; it stays on the disk
                del self._held[key]
        return self._cases.get(key)

    def _lay(self, held: Held) -> None:
        """Put a state in its place: newest, and in place of the one that it was made from."""
        if held.older in self._held:
            self._newer[held.older] = held.key
        self._newer.pop(held.key, None)
        self._held[held.key] = held
        self._held.move_to_end(held.key)

    def _off(self, key: str) -> None:
        held = self._held.pop(key, None)
        self._cases.pop(key, None)
        self._touched.pop(key, None)
        self._newer = {old: new for old, new in self._newer.items() if key not in (old, new)}
        if held is not None and self._book is not None:
            self._behind(self._book.drop, held.name)

    def _bound(self) -> None:
        """The states longest passed go first, so that none that is left loses what it became."""
        older = sorted((h for h in self._held.values() if h.key in self._newer), key=lambda h: h.made)
        room = self._bytes()
        while older and (len(older) > MOST_OLDER or room > ROOM):
            gone = older.pop(0)
            room -= len(gone.case)
            self._off(gone.key)

    def _bytes(self) -> int:
        return sum(len(held.case) for held in self._held.values())

    def _change(self, keys: Collection[str], change: Callable[[Held], Held]) -> None:
        with self._lock:
            self._ready()
            for held in [self._held[key] for key in keys if key in self._held]:
                made = change(held)
                if made != held:
                    self._held[held.key] = made
                    self._write(made)

    def _use(self, held: Held) -> None:
        now = time.monotonic()
        if self._book is not None and now - self._touched.get(held.key, now - 2 * TOUCH) > TOUCH:
            self._touched[held.key] = now
            self._behind(self._book.used, held.name)

    def _write(self, held: Held) -> None:
        if self._book is None:
            return
        book = self._book

        def write() -> None:
            try:
                book.tell(held.name, held.told())
                self.trouble = ""
            except OSError as error:
                self.trouble = refused(error, book.folder)

        self._touched[held.key] = time.monotonic()
        self._behind(write)

    def _behind(self, work: Callable[..., None], *arguments: str) -> None:
        def safely() -> None:
            with contextlib.suppress(OSError):
                work(*arguments)

        self._writing = behind().submit(safely)

    def _ready(self) -> None:
        """What lies on the disk is read once."""
        if self._read or self._book is None:
            return
        self._read = True
        found = list(self._found(self._book))
        for held in sorted(found, key=lambda one: one.made):
            self._lay(held)
        for held in found:
            if self._held.get(held.key) is held:
                self._held.move_to_end(held.key)  # the one used last at the end

    def _found(self, book: Book) -> Iterator[Held]:
        for name in book.listed():
            with contextlib.suppress(ValueError, TypeError, KeyError, RecursionError):
                if (told := book.told(name)) is not None:
                    yield Held.of(told, name)


@cache
def behind() -> ThreadPoolExecutor:
    """One thread that writes, in the order of what was done; the program waits for it when it ends."""
    return ThreadPoolExecutor(1, thread_name_prefix="cases")
