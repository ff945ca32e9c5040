"""Passwords of users: Argon2id (RFC 9106), checked in equal time whether the user exists or not."""

from argon2 import PasswordHasher, Type
from argon2.exceptions import InvalidHashError, VerificationError

from canalwright.records.errors import BadEntry
from canalwright.records.keys import Cost
from canalwright.records.secret import Passphrase, strong_enough

MOST = 1000


def hasher(cost: Cost) -> PasswordHasher:
    """The hasher at a cost."""
    return PasswordHasher(cost.time, cost.memory, cost.lanes, type=Type.ID)


def verifier(password: str, cost: Cost, *words: str) -> str:
    """What is kept of a password. Raises BadEntry when it is too short, too easy or absurdly long."""
    if len(password) > MOST:
        raise BadEntry(f"a password has at most {MOST} characters")
    if weakness := strong_enough(password, *words):
        raise BadEntry(f"password refused: {weakness}")
    return hasher(cost).hash(Passphrase(password).reveal())


def matches(kept: str | None, password: str, cost: Cost) -> bool:
    """Whether a password is the one kept; without one kept the same work is done, and the answer is no."""
    given = password[:MOST] if len(password) <= MOST else ""
    secret = Passphrase(given).reveal() if given else b"\x00"
    try:
        return hasher(cost).verify(kept or _nobody(cost), secret) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def _nobody(cost: Cost) -> str:
    """A hash that nothing matches, at the same cost."""
    salt, digest = "A" * 22, "A" * 43
    return f"$argon2id$v=19$m={cost.memory},t={cost.time},p={cost.lanes}${salt}${digest}"
