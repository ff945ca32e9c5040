"""Patients, identities, events, images and the view of cases."""

import sqlalchemy as sa
from alembic import op

from canalwright.records.migrations.guard import only_grows

revision, down_revision = "0001", None
Count = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Make the first tables."""
    op.create_table("meta", _key("name"), _text("value"))
    op.create_table("head", _key("chain"), _count("seq"), _blob("hash"), _text("latest"))
    op.create_table(
        "event",
        sa.Column("seq", Count, primary_key=True, autoincrement=False),
        *map(_text, ("time", "author", "kind", "patient", "case_id")),
        _count("behind"),
        *map(_blob, ("sealed", "hash", "mark")),
    )
    op.create_index("event_case", "event", ["case_id", "seq"])
    op.create_index("event_patient", "event", ["patient", "seq"])
    op.create_index("event_kind", "event", ["kind", "seq"])
    only_grows("event")
    op.create_table(
        "patient",
        _key("pseudonym"),
        _text("created"),
        sa.Column("erased", sa.Text),
        sa.Column("wrapped", sa.LargeBinary),
    )
    op.create_table(
        "identity",
        sa.Column("patient", sa.Text, sa.ForeignKey("patient.pseudonym"), primary_key=True),
        _blob("sealed"),
    )
    op.create_table("image", _key("id"), *map(_text, ("patient", "case_id", "media")), _blob("sealed"))
    op.create_index("image_patient", "image", ["patient"])
    op.create_table(
        "case_view",
        _key("case_id"),
        *map(_text, ("patient", "operator")),
        _whole("tooth"),
        *map(_text, ("opened", "status", "filled")),
        *map(_whole, ("plans", "recalls")),
        *map(_text, ("last_recall", "next_due", "outcome")),
        _count("last_seq"),
        *map(_text, ("last_time", "origin")),
    )
    op.create_index("case_view_patient", "case_view", ["patient"])
    op.create_index("case_view_last", "case_view", ["last_seq"])
    op.create_index("case_view_due", "case_view", ["next_due"])
    op.create_index("case_view_operator", "case_view", ["operator", "last_seq"])
    op.create_index("case_view_status", "case_view", ["status", "last_seq"])
    op.create_index("case_view_origin", "case_view", ["origin"])


def _key(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=True)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _blob(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary, nullable=False)


def _whole(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=False)


def _count(name: str) -> sa.Column[int]:
    return sa.Column(name, Count, nullable=False)
