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
    for event in events:
        if event.kind is not Kind.CORRECTION:
            found[event.seq] = event
            continue
        target, payload = event.field("of"), event.field("payload")
        if not isinstance(target, int) or target not in found:
            continue
        if isinstance(payload, dict):
            found[target] = replace(found[target], payload=payload)
        else:
            del found[target]
    return list(found.values())
