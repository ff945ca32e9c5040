"""A film read by two who do not know of each other's reading: what the second may not see until both are in.

A recall marked `blind` with the grades of one reader awaits the second. Until then its grades, and what else was read from that film, are
hidden from everybody but the first reader, and no outcome is told. Whoever holds the passphrase and reads the records past `Desk` sees all.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from canalwright.records.canonical import Json
from canalwright.records.effective import effective
from canalwright.records.errors import BadEntry
from canalwright.records.events import Event, Kind
from canalwright.records.recall import Visit


def awaiting(events: Iterable[Event]) -> dict[int, str]:
    """Recalls that await a second reader, by their number, with who read first."""
    found = {}
    for event in effective(events):
        if event.kind is Kind.RECALL and event.payload is not None:
            first = Visit.from_json(event.payload).awaits
            if first:
                found[event.seq] = first
    return found


def masked(events: list[Event], reader: str) -> list[Event]:
    """The events as `reader` may see them: grades of films that they have yet to read are taken out, in corrections too."""
    hidden = {seq for seq, first in awaiting(events).items() if first != reader}
    return [_masked(e, hidden) for e in events] if hidden else events


def second(event: Event, reader: str, grades: Mapping[str, int]) -> dict[str, Json]:
    """The recall with the second reading added; `grades` by root, all roots. Raises BadEntry."""
    payload = dict(event.payload or {})
    visit = Visit.from_json(payload) if event.kind is Kind.RECALL and event.payload else None
    if visit is None or not visit.awaits:
        raise BadEntry(f"entry {event.seq} awaits no second reading")
    if reader == visit.awaits:
        raise BadEntry("two readers are two persons: the first reading is yours")
    if set(grades) != set(visit.index):
        raise BadEntry(f"grade every root: {', '.join(visit.index)}")
    index = {root: {**readers, reader: grades[root]} for root, readers in visit.index.items()}
    return {**payload, "index": index}  # type: ignore[dict-item]


def to_read(event: Event) -> bool:
    """Whether a recall, as a reader sees it, waits for this reader: its film is marked blind and shows no grade."""
    index = event.field("index") if event.kind is Kind.RECALL else None
    return isinstance(index, dict) and event.field("blind") is True and not any(index.values())


def _masked(event: Event, hidden: set[int]) -> Event:
    payload = event.payload
    if payload is None:
        return event
    if event.kind is Kind.RECALL and event.seq in hidden:
        return replace(event, payload=_hidden(payload))
    inner = payload.get("payload")
    if event.kind is Kind.CORRECTION and payload.get("of") in hidden and isinstance(inner, dict):
        return replace(event, payload={**payload, "payload": _hidden(inner)})
    return event


def _hidden(recall: dict[str, Json]) -> dict[str, Json]:
    """A recall with the names of the roots alone left of what was read from its film."""
    index = recall.get("index")
    roots: dict[str, Json] = {root: {} for root in index} if isinstance(index, dict) else {}
    return {**recall, "index": roots, "agreed": {}, "lesion": ""}
