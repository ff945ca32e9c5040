"""What cannot have happened: a filling in the future, a recall before it, an end of it outside the tooth.

Judged over a case as it stands, corrections applied, so that every way in (page, command line, archive) is held to the same. Errors
that lie in the records from before do not stand in the way of anything else: only what an entry would add is refused.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from canalwright.anatomy.limits import LIMITS
from canalwright.records.canonical import Json
from canalwright.records.caseview import FOLDED, filled_on
from canalwright.records.errors import BadEntry
from canalwright.records.events import Event, Kind
from canalwright.records.moments import day

WEIGHED = FOLDED | {Kind.MEASUREMENT}
GRACE = timedelta(days=1)
"""For time zones: the records keep UTC, a date is written where the patient sits."""
OLDEST = timedelta(days=130 * 365)
MOST_BEYOND, LENGTHS = 5.0, LIMITS["length"]
"""mm: how far beyond the terminus a filling is believed to end (common practice: an extrusion of 5 mm fills a sinus or a canal of the
jaw), and the least and greatest length of a canal (`anatomy.limits`)."""
NAMES = {Kind.CHAIR: "session", Kind.CHECK: "filling", Kind.RECALL: "recall"}


def impossible(events: Sequence[Event], today: date, born: date | None) -> list[str]:
    """Everything in a case that cannot be, one line each with what to do. `events`: as they stand now."""
    found = [line for event in events if event.kind in NAMES and event.payload for line in _alone(event, today, born)]
    return [*found, *_recalls(events), *_ends(events)]


def refuse_new(before: Sequence[Event], after: Sequence[Event], today: date, born: date | None) -> None:
    """Raises BadEntry with the first thing that cannot be in `after` and was not in `before`."""
    known = set(impossible(before, today, born))
    added = [line for line in impossible(after, today, born) if line not in known]
    if added:
        raise BadEntry(added[0])


def refuse_birth(born: date, today: date, cases: Iterable[Sequence[Event]]) -> None:
    """Raises BadEntry for a date of birth that cannot be, also beside what is recorded of the person's cases."""
    if not today - OLDEST <= born <= today + GRACE:
        raise BadEntry(f"the date of birth {born} cannot be: today is {today}; correct the date")
    for events in cases:
        known = set(impossible(events, today, None))
        added = [line for line in impossible(events, today, born) if line not in known]
        if added:
            raise BadEntry(added[0])


def _alone(event: Event, today: date, born: date | None) -> Iterator[str]:
    on, what = _on(event), NAMES[event.kind]
    if on is not None and on > today + GRACE:
        yield f"the {what} of {on} lies in the future: today is {today}; correct the date"
    elif on is not None and born is not None and on < born:
        yield f"the {what} of {on} lies before the date of birth: correct the one or the other"
    elif on is not None and on < today - OLDEST:
        yield f"the {what} of {on} lies too far back: today is {today}; correct the date"
    voids = event.field("void_percent")
    if event.kind is Kind.CHECK and _number(voids) and not 0 <= float(str(voids)) <= 100:
        yield f"voids of {float(str(voids)):g} % cannot be: give 0 to 100"


def _recalls(events: Sequence[Event]) -> Iterator[str]:
    filled = filled_on(events)
    if filled is None:
        return
    stated = any(e.kind is not Kind.RECALL and e.field("on") == filled.isoformat() for e in events)
    first = filled if stated else filled - GRACE
    for event in events:
        on = _on(event) if event.kind is Kind.RECALL else None
        if on is not None and on < first:
            yield f"the recall of {on} lies before the filling of {filled}: correct the date"


def _ends(events: Sequence[Event]) -> Iterator[str]:
    for event in events:
        short = event.field("short_mm") if event.kind is Kind.CHECK else None
        if not _number(short):
            continue
        value = float(str(short))
        if value < -MOST_BEYOND:
            yield (
                f"a filling cannot end {-value:g} mm beyond the terminus: up to {MOST_BEYOND:g} mm is taken; "
                "measure it again on the film"
            )
        elif value > LENGTHS.low and value > (long := _length(events, event)):
            yield f"a filling cannot end {value:g} mm short of the terminus: the canal is {long:g} mm long; measure it again on the film"


def _length(events: Sequence[Event], check: Event) -> float:
    """Length of the canal of a check, else of the longest of the tooth, by the measurement last kept; else of any canal."""
    texts = [t for e in events if e.kind is Kind.MEASUREMENT and isinstance(t := e.field("case_file"), str)]
    if not texts:
        return LENGTHS.high
    from canalwright import casefile  # here, because that room takes a second to load

    try:
        lengths = {c.name: c.length.value for c in casefile.loads(texts[-1], "measurement").canals}
    except casefile.CaseError:  # of another version: it can be read, not judged
        return LENGTHS.high
    return round(lengths.get(str(check.field("canal")), max(lengths.values())), 2)


def _on(event: Event) -> date | None:
    try:
        return day(event.field("on")) if event.field("on") else None
    except BadEntry:
        return None


def _number(value: Json) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def as_if(kind: Kind, payload: Mapping[str, object], last: Event, ahead: int, now: datetime) -> Event:
    """An entry as the event that it would become, `ahead` places after the last of its case."""
    body: Any = dict(payload)
    return replace(last, seq=last.seq + ahead, time=now, kind=kind, payload=body, origin=None)
