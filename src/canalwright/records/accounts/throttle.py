"""How long to wait after failed tries. Pure reckoning; the counts lie in the database and outlive a restart."""

from dataclasses import dataclass
from datetime import datetime, timedelta

FREE = 5
FIRST = timedelta(seconds=15)
LONGEST = timedelta(minutes=15)
FORGET = timedelta(hours=24)


@dataclass(frozen=True)
class Tries:
    """Failed tries in a row of one user or from one place, and when the last was."""

    failures: int
    last: datetime


def waiting(tries: Tries | None, now: datetime) -> timedelta:
    """How long signing in is still refused: none for 5 failures, then 15 s, doubling up to 15 min.

    A clock set back does not shorten the wait, nor lengthen it beyond its full span.
    """
    if tries is None or tries.failures < FREE or now - tries.last > FORGET:
        return timedelta(0)
    span: timedelta = min(LONGEST, FIRST * 2 ** min(tries.failures - FREE, 20))
    return min(span, max(timedelta(0), tries.last + span - now))


def failed(tries: Tries | None, now: datetime) -> Tries:
    """One more failure; a day without one starts the count anew."""
    if tries is None or now - tries.last > FORGET:
        return Tries(1, now)
    return Tries(tries.failures + 1, now)
