"""Run by Alembic: the steps work on the connection, and in the transaction, that the caller gives."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
