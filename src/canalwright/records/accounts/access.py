"""The log of who looked at what and did what, chained like the events. It holds no name of a patient and no content."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, RowMapping, insert, select

from canalwright.records import chain, schema
from canalwright.records.chain import Head, Row
from canalwright.records.chains import append_rows, head_of
from canalwright.records.moments import moment
from canalwright.records.vault import Vault

CHAIN = "access"
LONGEST = 300


@dataclass(frozen=True)
class Access:
    """One line of the log. `author` is the user's name, `detail` a few words without line breaks."""

    seq: int
    time: datetime
    author: str
    act: str
    patient: str
    case: str
    detail: str


@dataclass(frozen=True)
class AccessLog:
    """The access log of the records."""

    vault: Vault

    def note(
        self, connection: Connection, author: str, act: str, detail: str = "", *, patient: str = "", case: str = ""
    ) -> None:
        """Write one line, in the caller's transaction."""
        header = {"author": author[:100], "act": act, "patient": patient, "case": case, "detail": _one_line(detail)}
        row = append_rows(connection, self.vault, CHAIN, [header])[0]
        row["case_id"] = row.pop("case")
        connection.execute(insert(schema.access).values(row))

    def read(self, *, author: str = "", patient: str = "", limit: int = 200, before: int | None = None) -> list[Access]:
        """The newest lines first, of one user or about one patient where wanted."""
        table = schema.access.c
        query = select(schema.access).order_by(table.seq.desc()).limit(max(0, min(limit, 1000)))
        for column, value in ((table.author, author), (table.patient, patient)):
            query = query.where(column == value) if value else query
        query = query.where(table.seq < before) if before is not None else query
        with self.vault.reading() as connection:
            return [_access(row) for row in connection.execute(query).mappings()]

    def verify(self, known: Iterable[Head] = ()) -> Head:
        """Check every line. Raises StoreDamaged at the first that is not as it was written."""
        query = select(schema.access).order_by(schema.access.c.seq).execution_options(yield_per=1000)
        start, key = chain.genesis(self.vault.key_file.store, CHAIN), self.vault.keys.purpose("chain")
        with self.vault.reading() as connection:
            end = head_of(connection, self.vault, CHAIN)
            with connection.execute(query) as rows:
                return chain.verify((_row(r) for r in rows.mappings()), start, key, end, known)


def _one_line(text: str) -> str:
    """No line breaks or control characters: a line of the log is one line."""
    return "".join(c if c.isprintable() else " " for c in text)[:LONGEST]


def _access(row: RowMapping) -> Access:
    fields = (row[name] for name in ("author", "act", "patient", "case_id", "detail"))
    return Access(row["seq"], moment(row["time"]), *fields)


def _row(row: RowMapping) -> Row:
    header = {name: row[name] for name in ("seq", "time", "author", "act", "patient", "detail", "behind")}
    return Row(row["seq"], {**header, "case": row["case_id"]}, bytes(row["hash"]), bytes(row["mark"]))
