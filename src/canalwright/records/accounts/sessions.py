"""Sessions: how long they last, when they lock. Pure reckoning."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum

from canalwright.records.accounts.roles import Role


class State(Enum):
    """What a session is good for."""

    ACTIVE = "active"
    LOCKED = "locked"
    ENDED = "ended"


@dataclass(frozen=True)
class Terms:
    """A session locks after `idle` without use, ends after `away` without use and after `longest` in any case.

    At most `most` at a time for one user; the oldest ends when another begins.
    """

    idle: timedelta = timedelta(minutes=10)
    away: timedelta = timedelta(hours=1)
    longest: timedelta = timedelta(hours=12)
    most: int = 5


@dataclass(frozen=True)
class Session:
    """One sign-in of one user."""

    name: str
    role: Role
    created: datetime
    seen: datetime
    locked: bool
    source: str

    def state(self, now: datetime, terms: Terms) -> State:
        """What the session is good for at `now`; a clock set back by over a minute ends it."""
        if now < self.seen - timedelta(minutes=1):
            return State.ENDED
        if now - self.created >= terms.longest or now - self.seen >= terms.away:
            return State.ENDED
        return State.LOCKED if self.locked or now - self.seen >= terms.idle else State.ACTIVE


def new_token() -> str:
    """A fresh token of 256 random bits; only its hash is kept."""
    return secrets.token_urlsafe(32)


def hashed(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()
