"""When a recall is due.

GUIDELINE: European Society of Endodontology 2006, Int Endod J 39:921-930 (from memory): at least after 1 year, then as
needed up to 4 years. A rule of one's own names other months after the filling.
"""

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from canalwright.records.errors import BadEntry

EARLY = timedelta(days=60)
GRACE = timedelta(days=30)


@dataclass(frozen=True)
class Rule:
    """Recalls `months` after the filling, in rising order, at most 20 of them, within 50 years."""

    name: str
    months: tuple[int, ...]
    source: str = ""

    def __post_init__(self) -> None:
        fit = all(type(m) is int and 0 < m <= 600 for m in self.months)
        if not fit or not 0 < len(self.months) <= 20 or list(self.months) != sorted(set(self.months)):
            raise BadEntry(f"a recall rule lists 1 to 20 rising whole months between 1 and 600, not {self.months}")

    def due_dates(self, filled: date) -> tuple[date, ...]:
        """All due dates for a tooth filled on `filled`."""
        return tuple(months_after(filled, m) for m in self.months)

    def as_json(self) -> dict[str, object]:
        """As the payload of a schedule event."""
        return {"name": self.name, "months": list(self.months), "source": self.source}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> "Rule":
        """From the payload of a schedule event. Raises BadEntry."""
        months = data.get("months")
        if not isinstance(months, list | tuple):
            raise BadEntry("a recall rule needs `months`, a list of whole numbers")
        return cls(str(data.get("name", "")), tuple(months), str(data.get("source", "")))


GUIDELINE = Rule("guideline", (12, 48), "European Society of Endodontology 2006, Int Endod J 39:921-930 (from memory)")


def months_after(start: date, months: int) -> date:
    """The same day of the month `months` later, or the last day of a shorter month."""
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def next_due(rule: Rule, filled: date, seen: Iterable[date]) -> date | None:
    """The first due date that no visit has met; None when all are met.

    A visit meets every due date up to 60 days after it: who comes a little early need not come again.
    """
    last = max(seen, default=None)
    return next((due for due in rule.due_dates(filled) if last is None or due > last + EARLY), None)


def overdue(due: date, today: date) -> bool:
    """Whether a due date has passed by more than the grace of 30 days."""
    return today > due + GRACE
