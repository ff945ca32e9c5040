"""Bring the tables of older records up to date, all steps in one transaction; never down."""

from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from canalwright.records.errors import StoreTooNew

FOLDER = Path(__file__).parent / "migrations"


def revision_of(connection: Connection) -> str | None:
    """The version of the tables; None when there are none yet."""
    return MigrationContext.configure(connection).get_current_revision()


@cache
def known_revisions() -> tuple[str, ...]:
    """The versions that this program knows, oldest first."""
    steps = ScriptDirectory.from_config(_config()).walk_revisions()
    return tuple(reversed([step.revision for step in steps]))


def needs_upgrade(connection: Connection) -> bool:
    """Whether the tables are older than this program. Raises StoreTooNew when they are newer."""
    found = revision_of(connection)
    if found is not None and found not in known_revisions():
        raise StoreTooNew(
            f"these records have version {found}, written by a newer program; this one knows up to "
            f"{known_revisions()[-1]}. Use the newer program: going back could lose what only it understands"
        )
    return found != known_revisions()[-1]


def upgrade(connection: Connection, to: str = "head") -> None:
    """Run the missing steps in the transaction of `connection`, which the caller commits."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
