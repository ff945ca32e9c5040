"""Failed tries, kept in the database so that neither a restart nor a second process clears them."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import Connection, delete, insert, select

from canalwright.records.accounts.throttle import FORGET, Tries, failed, waiting
from canalwright.records.errors import TooManyTries
from canalwright.records.moments import moment, stamp
from canalwright.records.schema import throttle
from canalwright.records.vault import Vault


@dataclass(frozen=True)
class TryBook:
    """Counts by subject: a user, or a place from which somebody tries. Only hashes of subjects are kept."""

    vault: Vault

    def refuse_if_waiting(self, connection: Connection, subjects: Sequence[str]) -> None:
        """Raises TooManyTries while any of the subjects has to wait."""
        now = self.vault.clock()
        wait = max((waiting(self._tries(connection, s), now) for s in subjects), default=timedelta(0))
        if wait:
            seconds = max(1, round(wait.total_seconds()))
            raise TooManyTries(f"too many tries: wait {seconds} s and try again", seconds)

    def count(self, connection: Connection, subjects: Sequence[str]) -> None:
        """One more failure of each."""
        now = self.vault.clock()
        connection.execute(delete(throttle).where(throttle.c.last < stamp(now - FORGET)))
        for subject in subjects:
            tries = failed(self._tries(connection, subject), now)
            self.clear(connection, subject)
            row = {"subject": _hashed(subject), "failures": tries.failures, "last": stamp(tries.last)}
            connection.execute(insert(throttle).values(row))

    def clear(self, connection: Connection, subject: str) -> None:
        """Forget the failures of one."""
        connection.execute(delete(throttle).where(throttle.c.subject == _hashed(subject)))

    def _tries(self, connection: Connection, subject: str) -> Tries | None:
        row = connection.execute(select(throttle).where(throttle.c.subject == _hashed(subject))).one_or_none()
        return Tries(row.failures, moment(row.last)) if row else None


def _hashed(subject: str) -> str:
    return hashlib.sha256(subject.encode()).hexdigest()
