"""The tables, as they are after the newest migration; a test holds the two equal.

`event` and `access` only ever grow: triggers in the database refuse to change or delete a row. `case_view` is derived
from the events and can be thrown away. Times are text, UTC, microseconds, ending in Z: they sort and hash alike
everywhere.
"""

from sqlalchemy import BigInteger, Column, ForeignKey, Index, Integer, LargeBinary, MetaData, Table, Text

metadata = MetaData()
Count = BigInteger().with_variant(Integer, "sqlite")

meta = Table("meta", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))

head = Table(
    "head",
    metadata,
    Column("chain", Text, primary_key=True),
    Column("seq", Count, nullable=False),
    Column("hash", LargeBinary, nullable=False),
    Column("latest", Text, nullable=False),
)

event = Table(
    "event",
    metadata,
    Column("seq", Count, primary_key=True, autoincrement=False),
    Column("time", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("patient", Text, nullable=False),
    Column("case_id", Text, nullable=False),
    Column("behind", Count, nullable=False),
    Column("sealed", LargeBinary, nullable=False),
    Column("hash", LargeBinary, nullable=False),
    Column("mark", LargeBinary, nullable=False),
    Index("event_case", "case_id", "seq"),
    Index("event_patient", "patient", "seq"),
    Index("event_kind", "kind", "seq"),
)

patient = Table(
    "patient",
    metadata,
    Column("pseudonym", Text, primary_key=True),
    Column("created", Text, nullable=False),
    Column("erased", Text),
    Column("wrapped", LargeBinary),
)

identity = Table(
    "identity",
    metadata,
    Column("patient", Text, ForeignKey("patient.pseudonym"), primary_key=True),
    Column("sealed", LargeBinary, nullable=False),
)

image = Table(
    "image",
    metadata,
    Column("id", Text, primary_key=True),
    Column("patient", Text, nullable=False),
    Column("case_id", Text, nullable=False),
    Column("media", Text, nullable=False),
    Column("sealed", LargeBinary, nullable=False),
    Index("image_patient", "patient"),
)

case_view = Table(
    "case_view",
    metadata,
    Column("case_id", Text, primary_key=True),
    Column("patient", Text, nullable=False),
    Column("operator", Text, nullable=False),
    Column("tooth", Integer, nullable=False),
    Column("opened", Text, nullable=False),
    Column("status", Text, nullable=False),
    Column("filled", Text, nullable=False),
    Column("plans", Integer, nullable=False),
    Column("recalls", Integer, nullable=False),
    Column("last_recall", Text, nullable=False),
    Column("next_due", Text, nullable=False),
    Column("outcome", Text, nullable=False),
    Column("last_seq", Count, nullable=False),
    Column("last_time", Text, nullable=False),
    Column("origin", Text, nullable=False),
    Index("case_view_patient", "patient"),
    Index("case_view_last", "last_seq"),
    Index("case_view_due", "next_due"),
    Index("case_view_operator", "operator", "last_seq"),
    Index("case_view_status", "status", "last_seq"),
    Index("case_view_origin", "origin"),
)

account = Table(
    "account",
    metadata,
    Column("name", Text, primary_key=True),
    Column("role", Text, nullable=False),
    Column("verifier", Text, nullable=False),
    Column("second_factor", LargeBinary),
    Column("last_step", Count, nullable=False),
    Column("created", Text, nullable=False),
    Column("disabled", Text),
    Column("temporary", Text),
)

throttle = Table(
    "throttle",
    metadata,
    Column("subject", Text, primary_key=True),
    Column("failures", Integer, nullable=False),
    Column("last", Text, nullable=False),
)

session = Table(
    "session",
    metadata,
    Column("token", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("created", Text, nullable=False),
    Column("seen", Text, nullable=False),
    Column("locked", Integer, nullable=False),
    Column("source", Text, nullable=False),
    Index("session_name", "name"),
)

access = Table(
    "access",
    metadata,
    Column("seq", Count, primary_key=True, autoincrement=False),
    Column("time", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("act", Text, nullable=False),
    Column("patient", Text, nullable=False),
    Column("case_id", Text, nullable=False),
    Column("detail", Text, nullable=False),
    Column("behind", Count, nullable=False),
    Column("hash", LargeBinary, nullable=False),
    Column("mark", LargeBinary, nullable=False),
    Index("access_author", "author", "seq"),
    Index("access_patient", "patient", "seq"),
)
