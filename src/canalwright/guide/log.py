"""The written log of a session at the chair: one line of JSON for each event, read back whatever became of single lines."""

import json
from collections.abc import Iterable, Iterator
from typing import Any

from canalwright.guide.session import Event

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
    depth = told.get("depth")
    text = "".join(c for c in str(told.get("text") or "") if c.isprintable())[:200]
    return Event(str(told["kind"]), float(told["moment"]), None if depth is None else float(depth), text, seconds)
