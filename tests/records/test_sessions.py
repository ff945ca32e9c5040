"""Protects: a session locks and ends as it should, and whoever tries too often has to wait."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from canalwright.records import Store
from canalwright.records.accounts import AccessLog, SignIn, Terms, Users
from canalwright.records.accounts.throttle import FREE, LONGEST, Tries, failed, waiting
from canalwright.records.errors import (
    SessionEnded,
    SessionLocked,
    SignInFailed,
    TooManyTries,
)
from tests.records.conftest import CHEAP, GOOD, NOW, Clock


def test_many_tries_have_to_wait(door: SignIn, clock: Clock, reopen: Callable[[], Store]) -> None:
    """After 5 failures the right password is refused too, longer each time, also after a restart."""
    for _ in range(FREE):
        with pytest.raises(SignInFailed):
            door.sign_in("ann", "wrong", source="1.2.3.4")
    with pytest.raises(TooManyTries) as caught:
        door.sign_in("ann", GOOD, source="5.6.7.8")
    assert caught.value.wait == 15
    with reopen() as again, pytest.raises(TooManyTries):
        SignIn(Users(again.vault, AccessLog(again.vault), CHEAP)).sign_in("ann", GOOD)
    with pytest.raises(TooManyTries):
        door.sign_in("stu", GOOD, source="1.2.3.4")
    clock.forward(seconds=16)
    with pytest.raises(SignInFailed):
        door.sign_in("ann", "wrong", source="1.2.3.4")
    with pytest.raises(TooManyTries) as caught:
        door.sign_in("ann", GOOD)
    assert caught.value.wait == 30
    clock.forward(seconds=31)
    door.sign_in("ann", GOOD)
    door.sign_in("ann", GOOD)


@settings(deadline=None)
@given(st.integers(0, 60), st.integers(-(10**6), 10**6))
def test_wait_is_bounded_whatever_the_clock_does(failures: int, seconds: int) -> None:
    wait = waiting(Tries(failures, NOW), NOW + timedelta(seconds=seconds))
    assert timedelta(0) <= wait <= LONGEST
    if failures < FREE:
        assert wait == timedelta(0)
    assert failed(Tries(failures, NOW), NOW).failures == failures + 1


def test_session_locks_ends_and_goes_on(door: SignIn, clock: Clock) -> None:
    token = door.sign_in("ann", GOOD)
    clock.forward(minutes=9)
    door.session(token)
    clock.forward(minutes=10)
    with pytest.raises(SessionLocked):
        door.session(token)
    with pytest.raises(SessionLocked):
        door.session(token)
    with pytest.raises(SignInFailed):
        door.unlock(token, "wrong")
    fresh = door.unlock(token, GOOD)
    assert door.session(fresh).name == "ann"
    with pytest.raises(SessionEnded):
        door.session(token)
    door.lock(fresh)
    with pytest.raises(SessionLocked):
        door.session(fresh)
    clock.forward(minutes=61)
    with pytest.raises(SessionEnded):
        door.unlock(fresh, GOOD)
    with pytest.raises(SessionEnded):
        door.session(fresh)


def test_session_ends_after_its_longest_time_though_used(door: SignIn, clock: Clock) -> None:
    token = door.sign_in("ann", GOOD)
    for _ in range(12 * 12 - 1):
        clock.forward(minutes=5)
        door.session(token)
    clock.forward(minutes=5)
    with pytest.raises(SessionEnded):
        door.session(token)


def test_clock_set_back_ends_a_session(door: SignIn, clock: Clock) -> None:
    token = door.sign_in("ann", GOOD)
    clock.forward(hours=-2)
    with pytest.raises(SessionEnded):
        door.session(token)


def test_only_so_many_sessions_at_a_time(users: Users, clock: Clock) -> None:
    door = SignIn(users, Terms(most=2))
    tokens = []
    for _ in range(3):
        clock.forward(seconds=1)
        tokens.append(door.sign_in("ann", GOOD))
    assert len(door.sessions_of("ann")) == 2
    with pytest.raises(SessionEnded):
        door.session(tokens[0])


def test_token_itself_is_not_kept(door: SignIn) -> None:
    token = door.sign_in("ann", GOOD)
    assert len(token) >= 43
    with door.users.vault.reading() as connection:
        for table in ("session", "access", "account", "throttle"):
            assert token not in str(connection.execute(text(f"SELECT * FROM {table}")).all())
            assert GOOD not in str(connection.execute(text(f"SELECT * FROM {table}")).all())


def test_terms_are_those_of_the_page() -> None:
    """docs/security.md names these times."""
    assert Terms() == Terms(timedelta(minutes=10), timedelta(hours=1), timedelta(hours=12), 5)
    assert datetime(2026, 1, 1, tzinfo=UTC) < NOW
