"""Adding rows to a chain that lies in a table: numbers, times, hashes and marks, one writer at a time."""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, insert, select, update

from canalwright.records.chain import Head, genesis, link, mark
from canalwright.records.moments import moment, stamp
from canalwright.records.schema import head
from canalwright.records.vault import Vault


def append_rows(
    connection: Connection, vault: Vault, chain: str, headers: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Rows ready to be inserted: each of `headers` with `seq`, `time`, `behind`, `hash` and `mark`.

    Bytes in a header are hashed as base64. The caller holds the only writing transaction.
    """
    found = connection.execute(select(head).where(head.c.chain == chain)).one_or_none()
    seq, previous = (found.seq, bytes(found.hash)) if found else (0, genesis(vault.key_file.store, chain))
    time = stamp(vault.clock())
    latest = max(found.latest, time) if found else time
    behind = round((moment(latest) - moment(time)).total_seconds() * 1000)
    key = vault.keys.purpose("chain")
    rows: list[dict[str, Any]] = []
    for header in headers:
        seq += 1
        row = {**header, "seq": seq, "time": time, "behind": behind}
        previous = link(previous, {name: _text(value) for name, value in row.items()})
        rows.append({**row, "hash": previous, "mark": mark(key, previous)})
    values = {"seq": seq, "hash": previous, "latest": latest}
    if found:
        connection.execute(update(head).where(head.c.chain == chain).values(**values))
    else:
        connection.execute(insert(head).values(chain=chain, **values))
    return rows


def head_of(connection: Connection, vault: Vault, chain: str) -> Head:
    """The newest row of a chain as the table of heads has it."""
    found = connection.execute(select(head).where(head.c.chain == chain)).one_or_none()
    if found is None:
        return Head(0, genesis(vault.key_file.store, chain).hex())
    return Head(found.seq, bytes(found.hash).hex())


def _text(value: object) -> object:
    return b64encode(value).decode() if isinstance(value, bytes) else value
