"""Times as the records keep them: text in UTC with microseconds, so that text order is time order."""

from collections.abc import Callable
from datetime import UTC, date, datetime

from canalwright.records.errors import BadEntry

STAMP_LENGTH = 27
Clock = Callable[[], datetime]


def wall_clock() -> datetime:
    """Now, UTC."""
    return datetime.now(UTC)


def stamp(moment: datetime) -> str:
    """`2026-11-25T08:00:00.000000Z`. Raises BadEntry for a time without a zone."""
    if moment.tzinfo is None:
        raise BadEntry(f"time {moment} has no time zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def moment(text: str) -> datetime:
    """The time that a stamp says. Raises ValueError."""
    if len(text) != STAMP_LENGTH or text[10] != "T" or text[-1] != "Z":
        raise ValueError(f"{text!r} is no stamp")
    return datetime.fromisoformat(text)


def day(text: object, what: str = "date") -> date:
    """A date written as `2026-11-25`. Raises BadEntry."""
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        raise BadEntry(f"{what} {text!r} is no date; write it as 2026-11-25") from None
