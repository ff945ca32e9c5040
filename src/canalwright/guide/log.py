"""The written log of a session at the chair: one line of JSON for each event, read back whatever became of single lines."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any

from canalwright.guide.session import Event, Laid

MOST_EVENTS = 5000


def events_of(lines: Iterable[bytes | str]) -> Iterator[Event]:
    """Events of a log, at most `MOST_EVENTS`; a line that is none (torn by a crash, say) is left out."""
    for _, line in zip(range(MOST_EVENTS), lines, strict=False):
        try:
            yield event_of(json.loads(line))
        except (ValueError, TypeError, KeyError, RecursionError):
            continue


def event_of(told: dict[str, Any]) -> Event:
    """An event from plain JSON types; raises ValueError, TypeError or KeyError for one that is none."""
    if not isinstance(told, dict):
        raise TypeError(f"an event is a table, not {type(told).__name__}")
    seconds = {int(k): float(v) for k, v in dict(told.get("seconds") or {}).items()}
    rest = tuple(map(_laid, list(told.get("rest") or ())))
    return Event(
        str(told["kind"]), float(told["moment"]), _length(told.get("depth")), _printed(told.get("text"), 200), seconds, rest
    )  # fmt: skip


def plain(event: Event) -> dict[str, Any]:
    """An event in plain JSON types, for `event_of` to read back."""
    told: dict[str, Any] = {"kind": event.kind, "moment": event.moment}
    if event.depth is not None:
        told["depth"] = event.depth
    if event.text:
        told["text"] = event.text
    if event.seconds:
        told["seconds"] = {str(k): v for k, v in event.seconds.items()}
    if event.rest:
        told["rest"] = [asdict(act) for act in event.rest]
    return told


def _laid(told: dict[str, Any]) -> Laid:
    return Laid(int(told["act"]), int(told["number"]), _length(told.get("depth")), _printed(told.get("tool"), 100))


def _length(told: Any) -> float | None:
    return None if told is None else float(told)


def _printed(told: object, most: int) -> str:
    return "".join(c for c in str(told or "") if c.isprintable())[:most]
