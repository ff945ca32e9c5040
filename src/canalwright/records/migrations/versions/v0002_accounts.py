"""Accounts, their sessions and throttles, and the log of who looked at what."""

import sqlalchemy as sa
from alembic import op

from canalwright.records.migrations.guard import only_grows

revision, down_revision = "0002", "0001"
Count = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Add the tables of accounts; nothing that was there is touched."""
    op.create_table(
        "account",
        sa.Column("name", sa.Text, primary_key=True),
        *_texts("role", "verifier"),
        sa.Column("second_factor", sa.LargeBinary),
        sa.Column("last_step", Count, nullable=False),
        *_texts("created"),
        sa.Column("disabled", sa.Text),
        sa.Column("temporary", sa.Text),
    )
    op.create_table(
        "throttle",
        sa.Column("subject", sa.Text, primary_key=True),
        sa.Column("failures", sa.Integer, nullable=False),
        *_texts("last"),
    )
    op.create_table(
        "session",
        sa.Column("token", sa.Text, primary_key=True),
        *_texts("name", "created", "seen"),
        sa.Column("locked", sa.Integer, nullable=False),
        *_texts("source"),
    )
    op.create_index("session_name", "session", ["name"])
    op.create_table(
        "access",
        sa.Column("seq", Count, primary_key=True, autoincrement=False),
        *_texts("time", "author", "act", "patient", "case_id", "detail"),
        sa.Column("behind", Count, nullable=False),
        sa.Column("hash", sa.LargeBinary, nullable=False),
        sa.Column("mark", sa.LargeBinary, nullable=False),
    )
    op.create_index("access_author", "access", ["author", "seq"])
    op.create_index("access_patient", "access", ["patient", "seq"])
    only_grows("access")


def _texts(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text, nullable=False) for name in names]
