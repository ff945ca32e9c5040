"""Due recalls as iCalendar (RFC 5545). A calendar leaves the encrypted records: it names pseudonym and tooth only."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from canalwright.records.caseview import CaseView


def calendar_of(views: Iterable[CaseView], made: datetime, store: str) -> bytes:
    """One all-day event for each case with a recall due. `made` is UTC; `store` makes the names unique."""
    from icalendar import Calendar
    from icalendar import Event as Entry

    calendar = Calendar()
    calendar.add("prodid", "-//canalwright//recall//EN")
    calendar.add("version", "2.0")
    for view in views:
        if not view.next_due:
            continue
        due = date.fromisoformat(view.next_due)
        entry = Entry()
        entry.add("uid", f"{view.case_id}-{view.next_due}@{store}.canalwright")
        entry.add("dtstamp", made)
        entry.add("dtstart", due)
        entry.add("dtend", due + timedelta(days=1))
        entry.add("summary", f"Recall {view.patient}, tooth {view.tooth}")
        entry.add("description", f"Case {view.case_id}, filled {view.filled}, recalls so far: {view.recalls}")
        entry.add("transp", "TRANSPARENT")
        calendar.add_component(entry)
    return bytes(calendar.to_ical())
