"""Events with their corrections applied. The events themselves stay as they were recorded."""

from collections.abc import Iterable
from dataclasses import replace

from canalwright.records.events import Event, Kind


def effective(events: Iterable[Event]) -> list[Event]:
    """The events of one case as they stand now: the last correction of each counts, withdrawn ones are left out.

    A correction is an event whose payload names `of` (the number of the event it corrects) and `payload` (the new one,
    or null to withdraw the entry).
    """
    found: dict[int, Event] = {}
    by_origin: dict[int, int] = {}
    for event in events:
        if event.kind is not Kind.CORRECTION:
            found[event.seq] = event
            if event.origin:
                by_origin[event.origin.seq] = event.seq
            continue
        of, payload = event.field("of"), event.field("payload")
        target = by_origin.get(of) if event.origin and isinstance(of, int) else of
        if not isinstance(target, int) or target not in found:
            continue
        if isinstance(payload, dict):
            found[target] = replace(found[target], payload=payload)
        else:
            del found[target]
    return list(found.values())
