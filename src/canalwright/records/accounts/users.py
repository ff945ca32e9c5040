"""The users of the records: adding them, their roles, shutting them out, their second factor."""

import re
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from canalwright.records.accounts import totp
from canalwright.records.accounts.access import AccessLog
from canalwright.records.accounts.passwords import verifier
from canalwright.records.accounts.roles import Role
from canalwright.records.crypt import seal, unseal
from canalwright.records.errors import BadEntry, NotFound, SignInFailed
from canalwright.records.keys import Cost
from canalwright.records.moments import stamp
from canalwright.records.schema import account, session
from canalwright.records.vault import Vault

GIVEN = timedelta(days=7)
NAME = re.compile(r"[\w][\w.@-]{0,63}")


@dataclass(frozen=True)
class User:
    """A user as others may see it."""

    name: str
    role: Role
    second_factor: bool
    disabled: bool


@dataclass(frozen=True)
class Users:
    """There is no user to begin with, and no password that comes with the program."""

    vault: Vault
    log: AccessLog
    cost: Cost = field(default_factory=Cost)

    def first(self, name: str, password: str) -> None:
        """Add the first user, a clinician; only while there is none. Raises BadEntry."""
        kept = self._kept(name, password)
        with self.vault.writing() as connection:
            if connection.scalar(select(func.count()).select_from(account)):
                raise BadEntry("there are users already: let one of the clinicians add more")
            self._insert(connection, name, Role.CLINICIAN, kept, name, temporary=False)

    def add(self, name: str, role: Role, password: str, by: str) -> None:
        """Add a user with a password that is good for a week and for nothing but choosing one of their own.

        Raises BadEntry for a name that is taken or a weak password.
        """
        kept = self._kept(name, password)
        with self.vault.writing() as connection:
            self._insert(connection, name, role, kept, by, temporary=True)

    def all(self) -> list[User]:
        """All users, by name."""
        with self.vault.reading() as connection:
            rows = connection.execute(select(account).order_by(account.c.name)).all()
        return [User(r.name, Role(r.role), r.second_factor is not None, r.disabled is not None) for r in rows]

    def set_role(self, name: str, role: Role, by: str) -> None:
        """Give a user another role; it counts at once. Raises NotFound, BadEntry for the last clinician."""
        self._change(name, by, f"{name} is now {role.value}", role=role.value)

    def disable(self, name: str, by: str) -> None:
        """Shut a user out, at once. Raises NotFound, BadEntry for the last clinician."""
        self._change(name, by, f"{name} shut out", disabled=stamp(self.vault.clock()))

    def reset(self, name: str, password: str, by: str) -> None:
        """Give a user a temporary password, take the second factor away and let them in again. Raises NotFound."""
        kept = self._kept(name, password)
        self._change(
            name,
            by,
            f"password and second factor of {name} reset",
            verifier=kept,
            second_factor=None,
            disabled=None,
            temporary=self._week(),
        )

    def set_password(self, name: str, password: str) -> None:
        """Keep a user's new password; all sessions of the user end. Raises BadEntry, NotFound."""
        self._change(name, name, "password changed", verifier=self._kept(name, password), temporary=None)

    def confirm_second_factor(self, name: str, secret: str, code: str) -> None:
        """Ask for codes of `secret` from now on; all sessions end. Raises SignInFailed when `code` is none of it."""
        step = totp.step_of(secret, code, self.vault.clock(), 0)
        if step is None:
            raise SignInFailed("this code does not belong to the secret: check the clock of both devices")
        sealed = seal(self.vault.keys.purpose("accounts"), secret.encode(), f"second factor {name}")
        self._change(name, name, "second factor added", second_factor=sealed, last_step=step)

    def row(self, connection: Connection, name: str) -> Row[Any] | None:
        """What is kept of a user."""
        return connection.execute(select(account).where(account.c.name == name)).one_or_none()

    def step(self, row: Row[Any], code: str) -> int | None:
        """The step of time to remember; None when a code is asked for and `code` is not good."""
        if row.second_factor is None:
            return int(row.last_step)
        key = self.vault.keys.purpose("accounts")
        secret = unseal(key, bytes(row.second_factor), f"second factor {row.name}").decode()
        return totp.step_of(secret, code, self.vault.clock(), row.last_step)

    def _week(self) -> str:
        return stamp(self.vault.clock() + GIVEN)

    def _kept(self, name: str, password: str) -> str:
        if not NAME.fullmatch(name):
            raise BadEntry("a user name has 1 to 64 letters, digits, dots, dashes or @")
        return verifier(password, self.cost, name)

    def _insert(self, connection: Connection, name: str, role: Role, kept: str, by: str, *, temporary: bool) -> None:
        if self.row(connection, name):
            raise BadEntry(f"there is a user {name} already")
        row: dict[str, object] = {"name": name, "role": role.value, "verifier": kept, "last_step": 0}
        row |= {"created": stamp(self.vault.clock())}
        row |= {"temporary": self._week() if temporary else None}
        connection.execute(insert(account).values(row))
        self.log.note(connection, by, "user added", f"{name}, {role.value}")

    def _change(self, name: str, by: str, words: str, **values: object) -> None:
        """Change a user and end all the user's sessions; there stays a clinician who can sign in."""
        with self.vault.writing() as connection:
            changed = connection.execute(update(account).where(account.c.name == name).values(**values)).rowcount
            if not changed:
                raise NotFound(f"there is no user {name}")
            able = (account.c.role == Role.CLINICIAN.value) & account.c.disabled.is_(None)
            if not connection.scalar(select(func.count()).select_from(account).where(able)):
                raise BadEntry("this is the last clinician: make somebody else one first")
            connection.execute(delete(session).where(session.c.name == name))
            self.log.note(connection, by, "user changed", words)
