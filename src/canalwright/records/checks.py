"""The checks that were kept, in their order: what the habits of a hand are learned from."""

from itertools import groupby

from canalwright.records.canonical import Json
from canalwright.records.effective import effective
from canalwright.records.events import Kind
from canalwright.records.schema import event
from canalwright.records.store import Store

NEEDED = frozenset({Kind.CASE, Kind.CHECK, Kind.CORRECTION})


def kept_checks(store: Store, operator: str) -> list[dict[str, Json]]:
    """Payloads of the checks of one operator's cases as they stand now; erased persons are gone from it."""
    found = []
    with store.vault.reading() as connection:
        events = store.ledger.read(connection, event.c.case_id != "", payload_of=NEEDED)
        for _, of_case in groupby(sorted(events, key=lambda e: (e.case, e.seq)), key=lambda e: e.case):
            now = list(effective(of_case))
            first = next((e for e in now if e.kind is Kind.CASE and e.payload is not None), None)
            if first is not None and str(first.field("operator") or first.author) == operator:
                found += [e for e in now if e.kind is Kind.CHECK and e.payload is not None]
    return [e.payload for e in sorted(found, key=lambda e: e.seq) if e.payload is not None]
