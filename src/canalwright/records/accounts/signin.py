"""Signing in, and what becomes of the session."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row, Select, delete, insert, select, update

from canalwright.records.accounts import totp
from canalwright.records.accounts.passwords import matches
from canalwright.records.accounts.roles import Role
from canalwright.records.accounts.sessions import Session, State, Terms, hashed, new_token
from canalwright.records.accounts.tries import TryBook
from canalwright.records.accounts.users import Users
from canalwright.records.errors import PasswordTemporary, SessionEnded, SessionLocked, SignInFailed
from canalwright.records.moments import moment, stamp
from canalwright.records.schema import account, session

WRONG = "name, password or code is wrong"
OVER = "this session is over: sign in again"
FRESH = timedelta(seconds=30)


@dataclass(frozen=True)
class SignIn:
    """The door. Tokens are for the shell to hold (in a cookie, say); only their hashes are kept here."""

    users: Users
    terms: Terms = field(default_factory=Terms)

    def sign_in(self, name: str, password: str, code: str = "", source: str = "") -> str:
        """Sign in; gives the token of a new session. `source` is where the try comes from (an address).

        Raises SignInFailed without saying what was wrong, TooManyTries with the seconds to wait, PasswordTemporary when
        the password was given by somebody else: it is good for `change_password` only.
        """
        row = self.check(name, password, code, source)
        if row.temporary is not None:
            raise PasswordTemporary("this password was given to you: choose one of your own first")
        now, token = stamp(self._now), new_token()
        with self.users.vault.writing() as connection:
            mine = session.c.name == name
            old = connection.scalars(select(session.c.token).where(mine).order_by(session.c.created.desc())).all()
            connection.execute(delete(session).where(session.c.token.in_(old[self.terms.most - 1 :])))
            values = {"name": row.name, "created": now, "seen": now, "locked": 0, "source": source[:100]}
            connection.execute(insert(session).values(token=hashed(token), **values))
            self.users.log.note(connection, name, "signed in", f"from {source}")
        return token

    def session(self, token: str) -> Session:
        """The session of a token, used now. Raises SessionEnded, SessionLocked."""
        found, now = self.peek(token), self._now
        state = found.state(now, self.terms)
        if state is State.ACTIVE and timedelta(0) <= now - found.seen < FRESH:
            return found  # not every click needs a write
        if state is State.ENDED:
            self.sign_out(token)
            raise SessionEnded(OVER)
        self._set(token, locked=1) if state is State.LOCKED else self._set(token, seen=stamp(now))
        if state is State.LOCKED:
            raise SessionLocked("locked after a pause: give your password to go on")
        return found

    def peek(self, token: str) -> Session:
        """The session of a token, without using it. Raises SessionEnded when there is none."""
        with self.users.vault.reading() as connection:
            row = connection.execute(_sessions().where(session.c.token == hashed(token))).one_or_none()
        if row is None:
            raise SessionEnded(OVER)
        return _session(row)

    def lock(self, token: str) -> None:
        """Lock a session at once."""
        self._set(token, locked=1)

    def unlock(self, token: str, password: str, code: str = "") -> str:
        """Go on with a locked session; gives its new token, the old one is good no more.

        Raises SignInFailed, TooManyTries, SessionEnded.
        """
        found = self.peek(token)
        if found.state(self._now, self.terms) is State.ENDED:
            raise SessionEnded(OVER)
        self.check(found.name, password, code, found.source)
        fresh = new_token()
        self._set(token, token=hashed(fresh), seen=stamp(self._now), locked=0)
        return fresh

    def sign_out(self, token: str) -> None:
        """End a session."""
        with self.users.vault.writing() as connection:
            gone = session.c.token == hashed(token)
            name = connection.scalar(select(session.c.name).where(gone))
            connection.execute(delete(session).where(gone))
            if name:
                self.users.log.note(connection, name, "signed out")

    def sessions_of(self, name: str) -> list[Session]:
        """The sessions of a user, the oldest first."""
        with self.users.vault.reading() as connection:
            rows = connection.execute(_sessions().where(session.c.name == name).order_by(session.c.created)).all()
        return [_session(row) for row in rows]

    def end_sessions(self, name: str) -> None:
        """End all sessions of a user."""
        with self.users.vault.writing() as connection:
            connection.execute(delete(session).where(session.c.name == name))
            self.users.log.note(connection, name, "all sessions ended")

    def change_password(self, name: str, old: str, new: str, code: str = "", source: str = "") -> None:
        """Change one's own password; all sessions end. Raises SignInFailed, TooManyTries, BadEntry."""
        self.check(name, old, code, source)
        self.users.set_password(name, new)

    def enrol(self, name: str, password: str, code: str = "", source: str = "") -> str:
        """Begin with a (new) second factor; gives the secret, which counts once `Users.confirm_second_factor` saw a code.

        Raises SignInFailed, TooManyTries.
        """
        self.check(name, password, code, source)
        return totp.new_secret()

    @property
    def _now(self) -> datetime:
        return self.users.vault.clock()

    def check(self, name: str, password: str, code: str, source: str) -> Row[Any]:
        """Check who it is, counting failures of the user and of the place; the same work is done for an unknown name."""
        tries, subjects = TryBook(self.users.vault), [f"user {name}", f"place {source}"]
        with self.users.vault.reading() as connection:
            tries.refuse_if_waiting(connection, subjects)
            row = self.users.row(connection, name)
        good = matches(row.verifier if row else None, password, self.users.cost)
        with self.users.vault.writing() as connection:
            tries.refuse_if_waiting(connection, subjects)
            row = self.users.row(connection, name)
            step = self.users.step(row, code) if row else None
            late = row is not None and row.temporary is not None and row.temporary < stamp(self._now)
            if row is not None and good and step is not None and row.disabled is None and not late:
                connection.execute(update(account).where(account.c.name == name).values(last_step=step))
                tries.clear(connection, subjects[0])
                return row
            tries.count(connection, subjects)
            self.users.log.note(connection, name if row else "", "sign-in refused", f"from {source}")
        raise SignInFailed(WRONG)

    def _set(self, of: str, **values: object) -> None:
        with self.users.vault.writing() as connection:
            mine = session.c.token == hashed(of)
            if not connection.execute(update(session).where(mine).values(**values)).rowcount:
                raise SessionEnded(OVER)


def _sessions() -> Select[Any]:
    return select(session, account.c.role).join(account, account.c.name == session.c.name)


def _session(row: Row[Any]) -> Session:
    return Session(row.name, Role(row.role), moment(row.created), moment(row.seen), bool(row.locked), row.source)
