"""Which backups to keep: the newest of each of the last days, weeks and months. Pure reckoning."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True)
class Keep:
    """How many days, weeks and months have a backup kept for each; one with a label is kept for `labelled` days."""

    days: int = 7
    weeks: int = 5
    months: int = 12
    labelled: int = 90


@dataclass(frozen=True)
class Kept:
    """A backup as the rotation sees it: its name, when it was made, its newest event, its label."""

    name: str
    made: datetime
    seq: int
    label: str = ""


def to_delete(backups: Iterable[Kept], keep: Keep, now: datetime) -> list[str]:
    """Names of backups that no rule keeps. The one with the most events always stays, whatever the clock says."""
    found = sorted(backups, key=lambda b: (b.made, b.seq), reverse=True)
    if not found:
        return []
    staying = {max(found, key=lambda b: (b.seq, b.made)).name}
    staying |= {b.name for b in found if b.label and now - b.made <= timedelta(days=keep.labelled)}
    plain = [b for b in found if not b.label]
    for count, period in ((keep.days, "%Y-%j"), (keep.weeks, "%G-%V"), (keep.months, "%Y-%m")):
        newest: dict[str, str] = {}
        for backup in plain:
            newest.setdefault(backup.made.strftime(period), backup.name)
        staying |= set(list(newest.values())[:count])
    return [b.name for b in found if b.name not in staying]
