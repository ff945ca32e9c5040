"""What all record screens of one server share."""

import hashlib
import secrets
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field

from canalwright.casefile import Case
from canalwright.records import Store
from canalwright.records.accounts import AccessLog, SignIn, Terms, Users
from canalwright.records.desk import Desk
from canalwright.records.errors import StoreReadOnly
from canalwright.records.keys import Cost
from canalwright.web.begun import Begun
from canalwright.web.gone import Gone
from canalwright.web.held import Held, one_case
from canalwright.web.office import Office
from canalwright.web.reader import reader
from canalwright.web.records.chairbook import ReaderChairbook
from canalwright.web.records.cleaned import Cleaned
from canalwright.web.records.filmbook import ReaderBook, ReaderFilmbook
from canalwright.web.shelf import Shelf

MOST_READERS = 200
MOST_PENDING = 100


class ReaderShelf(Shelf):
    """A shelf for each reader: what one opened, no other sees. `came_from` says which case of the records it was."""

    def __init__(self, book: ReaderBook | None = None) -> None:
        super().__init__()
        self._of_all = book
        self._shelves: OrderedDict[str, Shelf] = OrderedDict()

    def take(self, case: Case) -> str:
        """Lay a case on the reader's shelf. Raises ShelfFull."""
        return self._own().take(case)

    def put(self, case: Case, instead_of: str = "") -> str:
        """Lay a case on the reader's shelf; one made from a case of the records still belongs to it."""
        return self._own().put(case, instead_of)

    def get(self, key: str) -> Case | None:
        """A case of the reader's."""
        return self._own().get(key)

    def newer(self, key: str) -> str:
        """What a case of the reader's was last changed into."""
        return self._own().newer(key)

    def listed(self) -> tuple[tuple[str, Case], ...]:
        """The reader's open cases."""
        return self._own().listed()

    def line(self, key: str) -> tuple[str, ...]:
        """What a case of the reader's was made from."""
        return self._own().line(key)

    def drop(self, keys: Collection[str]) -> None:
        """Take cases off the reader's shelf."""
        self._own().drop(keys)

    def note(self, key: str, case: str) -> None:
        """Remember that what lies under `key` came from a case of the records, or went there."""
        self._own().note(key, case)

    def came_from(self, key: str) -> str:
        """The case of the records that an open one of the reader's belongs to; empty when none."""
        return self._own().came_from(key)

    def looked(self, key: str, last: str) -> None:
        """Remember where the reader was last."""
        self._own().looked(key, last)

    def last(self, key: str) -> str:
        """Where the reader was last."""
        return self._own().last(key)

    def settle(self) -> str:
        """Wait until all of the reader's is on the disk."""
        return self._own().settle()

    def knows(self, key: str) -> bool:
        """Whether the reader has a case open, in this state or in a later one."""
        return self._own().knows(key)

    def erase(self, cases: Collection[str], records: Collection[str]) -> set[str]:
        """Take these cases off the shelves of all readers, and off the disk; gives the keys of all their states."""
        gone: set[str] = set()

        def theirs(told: dict[str, bytes]) -> list[str]:
            held = tuple(Held.of(one, name) for name, one in told.items())
            gone.update(keys := one_case(held, cases, records))
            return [one.name for one in held if one.key in keys]

        for shelf in tuple(self._shelves.values()):
            gone |= shelf.erase(cases, records)
            shelf.settle()
        if self._of_all is not None:
            self._of_all.erase(theirs)
        return gone

    def forget_old(self, now: float) -> None:
        """Take off the disk, for all readers, what nobody used for 30 days."""
        if self._of_all is not None:
            self._of_all.forget_old(now)

    def clear(self, name: str) -> None:
        """Let go of what a reader had open; what is on the disk stays for the next time."""
        if (shelf := self._shelves.pop(name, None)) is not None:
            shelf.settle()

    def _own(self) -> Shelf:
        name = reader()
        if name not in self._shelves:
            self._shelves[name] = Shelf(self._of_all.of(name) if self._of_all is not None and name else None)
        self._shelves.move_to_end(name)
        while len(self._shelves) > MOST_READERS:
            self.clear(next(iter(self._shelves)))
        return self._shelves[name]


@dataclass
class House:
    """The opened records, their door, the readers' own shelves and books, and the few things that live only as long as the server.

    `first_key` lets the one who started the server add the first user; empty once there is one. `pending` holds second
    factors that were begun and not yet confirmed, `cleaned` files without identity that wait to be fetched.
    `trouble` is what went wrong with the last backup.
    """

    store: Store
    office: Office
    door: SignIn
    shelf: ReaderShelf
    book: ReaderChairbook
    secure: bool = False
    first_key: str = ""
    trouble: str = ""
    pending: "OrderedDict[str, str]" = field(default_factory=OrderedDict)
    cleaned: Cleaned = field(default_factory=Cleaned)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def of(
        cls, store: Store, office: Office, *, secure: bool = False, terms: Terms | None = None, cost: Cost | None = None
    ) -> "House":
        """A house at opened records. Raises StoreReadOnly: signing in has to write."""
        if store.vault.read_only:
            raise StoreReadOnly("signing in writes a line to the access log, but the records can only be read")
        shelf = ReaderShelf(ReaderBook(store.vault.home / "cases", store.vault.keys.purpose("cases"), "case"))
        book = ReaderChairbook(store.vault.home / "chair", store.vault.keys.purpose("chair"))
        office.shelf, office.chairs.book = shelf, book
        office.begun = Begun(ReaderBook(store.vault.home / "forms", store.vault.keys.purpose("forms"), "form"))
        office.radiographs.book = ReaderFilmbook(store.vault.home / "films", store.vault.keys.purpose("films"))
        office.gone = Gone(store.vault.home, store.vault.keys.purpose("gone"))
        users = Users(store.vault, AccessLog(store.vault), cost or Cost())
        made = cls(store, office, SignIn(users, terms or Terms()), shelf, book, secure)
        made.first_key = "" if users.all() else secrets.token_urlsafe(24)
        return made

    def desk(self, token: str) -> Desk:
        """The records at the hand of one session."""
        return Desk(self.store, self.door, token)

    def begin_factor(self, token: str, secret: str) -> None:
        """Keep a second factor until a code of it was seen."""
        with self._lock:
            self.pending[_mark(token)] = secret
            while len(self.pending) > MOST_PENDING:
                self.pending.popitem(last=False)

    def begun_factor(self, token: str) -> str:
        """The second factor that a session has begun with; empty when none."""
        return self.pending.get(_mark(token), "")

    def forget(self, name: str) -> None:
        """Let go of all that a reader had open: cases, scans, radiographs, checks, files that wait."""
        self.shelf.clear(name)
        self.office.forget(name)
        self.cleaned.drop(name)

    @property
    def cookie(self) -> str:
        """Name of the cookie that holds the token; with TLS one that no other site or path can set."""
        return "__Host-canalwright" if self.secure else "canalwright"

    @property
    def before(self) -> str:
        """Name of the cookie that guards the sign-in form before there is a session."""
        return f"{self.cookie}-before"


def csrf(secret: str) -> str:
    """What a form of the holder of a cookie must bring along; another site can neither read nor guess it."""
    return hashlib.sha256(f"form {secret}".encode()).hexdigest()


def _mark(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
