"""Records to test with: the same tests run on an encrypted file and on a real PostgreSQL server."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from canalwright.records import Cost, Passphrase, Store
from canalwright.records.accounts import AccessLog, Role, SignIn, Users
from tests.support.postgres import Server, server

CHEAP = Cost(time=1, memory=8, lanes=1)
SECRET = Passphrase("green teapot walks over rivers")
GIVEN, GOOD, NEW = "purple ladder in the fog", "violet bicycle under a bridge", "orange kettle beyond the hill"
OTHER = Passphrase("seven quiet lanterns under snow")
NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


class Clock:
    """A clock that moves when told."""

    def __init__(self, now: datetime = NOW) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **span: float) -> None:
        self.now += timedelta(**span)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    with server() as running:
        yield running


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str | None:
    """None for an encrypted file; the URL of an empty database for the server."""
    if request.param == "sqlite":
        return None
    running: Server = request.getfixturevalue("postgres")
    return running.new_database()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "records"


@pytest.fixture
def store(home: Path, url: str | None, clock: Clock) -> Iterator[Store]:
    """Empty records on either kind of database, with a clock of their own."""
    with Store.create(home, SECRET, url=url, cost=CHEAP, clock=clock) as made:
        yield made


@pytest.fixture
def lone(home: Path, clock: Clock) -> Iterator[Store]:
    """Empty records in an encrypted file, for what has nothing to do with the kind of database."""
    with Store.create(home, SECRET, cost=CHEAP, clock=clock) as made:
        yield made


@pytest.fixture
def reopen(home: Path, url: str | None, clock: Clock) -> Callable[[], Store]:
    """Open the records of `store` once more."""
    return lambda: Store.open(home, SECRET, url=url, clock=clock)


@pytest.fixture
def case(store: Store) -> str:
    """A case of a patient without identity."""
    return store.cases.open(store.patients.add("ann"), {"tooth": 46, "index_before": 4}, "ann")


@pytest.fixture
def users(store: Store) -> Users:
    made = Users(store.vault, AccessLog(store.vault), CHEAP)
    made.first("ann", GOOD)
    made.add("stu", Role.STUDENT, GIVEN, "ann")
    made.set_password("stu", GOOD)
    return made


@pytest.fixture
def door(users: Users) -> SignIn:
    return SignIn(users)
