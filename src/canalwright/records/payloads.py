"""What each kind of entry must hold to be understood later. Everything else in an entry is kept as it is."""

from collections.abc import Callable, Mapping

from canalwright.records.errors import BadEntry
from canalwright.records.events import Kind
from canalwright.records.moments import day
from canalwright.records.recall import Rule, Visit

Payload = Mapping[str, object]


def check_payload(kind: Kind, payload: Payload) -> None:
    """Raises BadEntry, saying what is missing or wrong."""
    CHECKS.get(kind, _any)(payload)


def _any(payload: Payload) -> None:
    if not payload:
        raise BadEntry("an empty entry says nothing: fill it in, or leave it")


def _case(payload: Payload) -> None:
    from canalwright.anatomy.tooth import Tooth  # here, because that room takes a second to load

    tooth = payload.get("tooth")
    if type(tooth) is not int:
        raise BadEntry("a case needs its `tooth`, by ISO 3950 (46, say)")
    try:
        Tooth(tooth)
    except ValueError as error:
        raise BadEntry(str(error)) from None
    grades = payload.get("index_before")
    given = list(grades.values()) if isinstance(grades, Mapping) else [] if grades is None else [grades]
    if any(type(g) is not int or not 1 <= g <= 5 for g in given):
        raise BadEntry("`index_before` is a periapical index from 1 to 5, or one for each root")


def _dated(payload: Payload) -> None:
    _any(payload)
    if "on" in payload:
        day(payload["on"])


def _recall(payload: Payload) -> None:
    Visit.from_json(payload)


def _rule(payload: Payload) -> None:
    Rule.from_json(payload)


CHECKS: Mapping[Kind, Callable[[Payload], None]] = {
    Kind.CASE: _case,
    Kind.CHAIR: _dated,
    Kind.CHECK: _dated,
    Kind.RECALL: _recall,
    Kind.SCHEDULE: _rule,
}
