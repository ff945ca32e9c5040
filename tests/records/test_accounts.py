"""Protects: nobody gets in who should not, and every try leaves a trace."""

from datetime import timedelta

import pyotp
import pytest
from sqlalchemy import text

from canalwright.records import Store
from canalwright.records.accounts import AccessLog, Role, SignIn, Users
from canalwright.records.accounts.passwords import matches, verifier
from canalwright.records.errors import (
    BadEntry,
    NotFound,
    PasswordTemporary,
    RecordsError,
    SessionEnded,
    SignInFailed,
    StoreDamaged,
)
from tests.records.conftest import CHEAP, GIVEN, GOOD, NEW, Clock


def test_no_user_comes_with_the_program(store: Store) -> None:
    users = Users(store.vault, AccessLog(store.vault), CHEAP)
    assert users.all() == []
    with pytest.raises(SignInFailed):
        SignIn(users).sign_in("admin", "admin")
    users.first("ann", GOOD)
    with pytest.raises(BadEntry, match="users already"):
        users.first("eve", GOOD)


def test_sign_in_and_out(door: SignIn) -> None:
    token = door.sign_in("ann", GOOD, source="127.0.0.1")
    found = door.session(token)
    assert (found.name, found.role, found.source) == ("ann", Role.CLINICIAN, "127.0.0.1")
    door.sign_out(token)
    with pytest.raises(SessionEnded):
        door.session(token)
    assert [a.act for a in door.users.log.read(author="ann")] == ["signed out", "signed in", "user added", "user added"]


@pytest.mark.parametrize(
    ("name", "password"), [("ann", "wrong"), ("nobody", GOOD), ("ann", ""), ("", ""), ("ann", "x" * 5000)]
)
def test_refusal_does_not_say_why(door: SignIn, name: str, password: str) -> None:
    with pytest.raises(SignInFailed, match=r"^name, password or code is wrong$"):
        door.sign_in(name, password)


def test_unknown_user_costs_the_same_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """The hash is computed also when there is nobody to compare with, at the same cost; the answer is no."""
    import argon2.low_level

    calls: list[bytes] = []
    real = argon2.low_level.verify_secret
    monkeypatch.setattr("argon2._password_hasher.verify_secret", lambda h, s, t: calls.append(h) or real(h, s, t))
    assert matches(verifier(GOOD, CHEAP), GOOD, CHEAP)
    assert not matches(None, GOOD, CHEAP)
    assert [c.split(b"$")[3] for c in calls] == [b"m=8,t=1,p=1"] * 2


@pytest.mark.parametrize("weak", ["short", "password1234", "ann.ann.ann.ann", "qwertyuiopas", "x" * 1001])
def test_weak_password_is_refused(users: Users, weak: str) -> None:
    with pytest.raises(BadEntry):
        users.add("ann.smith", Role.READER, weak, "ann")


def test_long_password_counts_to_its_end(users: Users) -> None:
    """Nothing is cut off or changed on the way: 500 characters, the last one matters."""
    long = " ".join(f"Word{i} über" for i in range(40))[:500]
    users.add("bob", Role.READER, GIVEN, "ann")
    users.set_password("bob", long)
    assert SignIn(users).sign_in("bob", long)
    with pytest.raises(SignInFailed):
        SignIn(users).sign_in("bob", long[:-1] + "#")
    with pytest.raises(SignInFailed):
        SignIn(users).sign_in("bob", long.lower())


def test_changes_of_a_user_end_the_sessions_at_once(door: SignIn) -> None:
    users = door.users
    for change in (
        lambda: door.change_password("stu", GOOD, NEW),
        lambda: users.set_role("stu", Role.READER, "ann"),
        lambda: users.reset("stu", GIVEN, "ann"),
        lambda: users.disable("stu", "ann"),
    ):
        token = door.sign_in("stu", _own_password(door))
        change()
        with pytest.raises(SessionEnded):
            door.session(token)
    with pytest.raises(SignInFailed):
        door.sign_in("stu", GOOD)
    users.reset("stu", GIVEN, "ann")
    door.change_password("stu", GIVEN, NEW)
    token = door.sign_in("stu", NEW)
    door.end_sessions("stu")
    with pytest.raises(SessionEnded):
        door.peek(token)


def _own_password(door: SignIn) -> str:
    """The present password of stu, chosen anew when it was given by somebody else."""
    with door.users.vault.reading() as connection:
        row = door.users.row(connection, "stu")
    assert row is not None
    if row.temporary:
        door.change_password("stu", GIVEN, GOOD)
    return next(p for p in (GOOD, NEW) if row.temporary or matches(row.verifier, p, CHEAP))


def test_given_password_is_good_for_choosing_ones_own_only(door: SignIn, clock: Clock) -> None:
    """And for a week; whoever gave it does not know the one in use."""
    door.users.add("bob", Role.READER, GIVEN, "ann")
    with pytest.raises(PasswordTemporary):
        door.sign_in("bob", GIVEN)
    door.change_password("bob", GIVEN, NEW)
    assert door.sign_in("bob", NEW)
    door.users.reset("bob", GIVEN, "ann")
    clock.forward(days=8)
    with pytest.raises(SignInFailed):
        door.change_password("bob", GIVEN, NEW)


def test_old_password_is_needed_for_a_new_one(door: SignIn) -> None:
    with pytest.raises(SignInFailed):
        door.change_password("ann", "wrong", NEW)
    with pytest.raises(BadEntry):
        door.change_password("ann", GOOD, "short")
    door.change_password("ann", GOOD, NEW)
    assert door.sign_in("ann", NEW)


def test_last_clinician_stays(users: Users) -> None:
    for act in (lambda: users.disable("ann", "ann"), lambda: users.set_role("ann", Role.READER, "ann")):
        with pytest.raises(BadEntry, match="last clinician"):
            act()
    users.set_role("stu", Role.CLINICIAN, "ann")
    users.disable("ann", "stu")
    with pytest.raises(NotFound):
        users.disable("nobody", "stu")
    with pytest.raises(BadEntry, match="already"):
        users.add("stu", Role.READER, GOOD, "stu")
    with pytest.raises(BadEntry, match="user name"):
        users.add("a\nb", Role.READER, GOOD, "stu")


def test_second_factor(door: SignIn, clock: Clock) -> None:
    """Asked for once enrolled; each code is good once; a wrong, late or repeated one is refused like a wrong password."""
    with pytest.raises(SignInFailed):
        door.enrol("ann", "wrong")
    secret = door.enrol("ann", GOOD)
    maker = pyotp.TOTP(secret)
    with pytest.raises(SignInFailed, match="clock"):
        door.users.confirm_second_factor("ann", secret, "000000" if maker.at(clock()) != "000000" else "111111")
    door.users.confirm_second_factor("ann", secret, maker.at(clock()))
    clock.forward(seconds=60)
    with pytest.raises(SignInFailed, match="name, password or code"):
        door.sign_in("ann", GOOD)
    code = maker.at(clock())
    door.sign_in("ann", GOOD, code)
    with pytest.raises(SignInFailed):
        door.sign_in("ann", GOOD, code)
    with pytest.raises(SignInFailed):
        door.sign_in("ann", GOOD, maker.at(clock() - timedelta(minutes=5)))
    assert door.users.all()[0].second_factor
    door.users.reset("ann", GIVEN, "ann")
    door.change_password("ann", GIVEN, NEW)
    door.sign_in("ann", NEW)


def test_second_factor_is_kept_sealed(door: SignIn, clock: Clock) -> None:
    secret = door.enrol("ann", GOOD)
    door.users.confirm_second_factor("ann", secret, pyotp.TOTP(secret).at(clock()))
    with door.users.vault.reading() as connection:
        assert secret.encode() not in bytes(
            connection.scalar(text("SELECT second_factor FROM account WHERE name = 'ann'"))
        )


def test_access_log_only_grows_and_shows_tampering(door: SignIn) -> None:
    for name in ("ann", "stu", "no\nbody"):
        with pytest.raises(SignInFailed):
            door.sign_in(name, "wrong", source="evil\nann signed in")
    log = door.users.log
    assert log.verify().seq == 6
    assert all("\n" not in a.detail + a.author for a in log.read())
    assert log.read(limit=1, before=3)[0].seq == 2
    with pytest.raises(RecordsError, match="only grows"), log.vault.writing() as connection:
        connection.exec_driver_sql("DELETE FROM access")
    with log.vault.writing() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER access_no_update")
        else:
            connection.exec_driver_sql("ALTER TABLE access DISABLE TRIGGER USER")
        connection.exec_driver_sql("UPDATE access SET author = 'eve' WHERE seq = 2")
    with pytest.raises(StoreDamaged, match="row 2 "):
        log.verify()
