"""Triggers that let a table only grow."""

from alembic import op


def only_grows(table: str) -> None:
    """Refuse every UPDATE and DELETE on `table`, in the database itself."""
    message = f"{table} only grows: its rows are never rewritten"
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{message}'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_only_grows()"
    )
