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
from canalwright.web.office import Office
from canalwright.web.reader import reader
from canalwright.web.records.chairbook import ReaderChairbook
from canalwright.web.records.cleaned import Cleaned
from canalwright.web.records.filmbook import ReaderFilmbook
from canalwright.web.shelf import Shelf

MOST_READERS = 200
MOST_PENDING = 100


class ReaderShelf(Shelf):
    """A shelf for each reader: what one opened, no other sees. `came_from` says which case of the records it was."""

    def __init__(self) -> None:
        super().__init__()
        self._shelves: OrderedDict[str, Shelf] = OrderedDict()
        self._from: dict[tuple[str, str], str] = {}

    def put(self, case: Case, instead_of: str = "") -> str:
        """Lay a case on the reader's shelf; one made from a case of the records still belongs to it."""
        key = self._own().put(case, instead_of)
        if came := self.came_from(instead_of):
            self.note(key, came)
        return key

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
        self._from[reader(), key] = case

    def came_from(self, key: str) -> str:
        """The case of the records that an open one belongs to; empty when none."""
        return self._from.get((reader(), key), "")

    def clear(self, name: str) -> None:
        """Take everything off a reader's shelf."""
        self._shelves.pop(name, None)
        self._from = {k: v for k, v in self._from.items() if k[0] != name}

    def _own(self) -> Shelf:
        shelf = self._shelves.setdefault(reader(), Shelf())
        self._shelves.move_to_end(reader())
        while len(self._shelves) > MOST_READERS:
            self.clear(next(iter(self._shelves)))
        return shelf


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
        shelf, book = ReaderShelf(), ReaderChairbook(store.vault.home / "chair", store.vault.keys.purpose("chair"))
        office.shelf, office.chairs.book = shelf, book
        office.radiographs.book = ReaderFilmbook(store.vault.home / "films", store.vault.keys.purpose("films"))
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
