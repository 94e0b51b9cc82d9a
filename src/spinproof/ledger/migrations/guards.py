"""Triggers by which the database itself refuses to change or delete what was recorded."""

from alembic import op


def make_append_only(table: str, key: str) -> None:
    """Let a table grow only: rows are added, never changed, replaced or deleted.

    Parameters
    ----------
    table : str
        Name of the table.
    key : str
        Its primary key, one column.
    """
    if op.get_bind().dialect.name == "sqlite":
        _refuse_sqlite(table, "update", f"BEFORE UPDATE ON {table}")
        # INSERT OR REPLACE deletes the old row without firing a trigger on DELETE
        known = f"NEW.{key} IN (SELECT {key} FROM {table})"  # noqa: S608 - names of our own
        _refuse_sqlite(table, "replace", f"BEFORE INSERT ON {table} WHEN {known}")
    else:
        _refuse_postgresql(table, "change", f"BEFORE UPDATE ON {table} FOR EACH ROW")
    forbid_deleting(table)


def forbid_deleting(table: str) -> None:
    """Let rows of a table be added and changed, never deleted.

    Parameters
    ----------
    table : str
        Name of the table.
    """
    if op.get_bind().dialect.name == "sqlite":
        _refuse_sqlite(table, "delete", f"BEFORE DELETE ON {table}")
    else:
        _refuse_postgresql(table, "delete", f"BEFORE DELETE ON {table} FOR EACH ROW")
        _refuse_postgresql(table, "truncate", f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT")


def forbid_changing(table: str, columns: tuple[str, ...]) -> None:
    """Let some columns of a table keep what they were given first.

    Parameters
    ----------
    table : str
        Name of the table.
    columns : tuple of str
        The columns.
    """
    when = f"BEFORE UPDATE OF {', '.join(columns)} ON {table}"
    if op.get_bind().dialect.name == "sqlite":
        _refuse_sqlite(table, "rename", when)
    else:
        _refuse_postgresql(table, "rename", f"{when} FOR EACH ROW")


def _refuse_sqlite(table: str, what: str, when: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_no_{what} {when} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: {what} refused'); END"
    )


def _refuse_postgresql(table: str, what: str, when: str) -> None:
    op.execute(f"CREATE TRIGGER {table}_no_{what} {when} EXECUTE FUNCTION spinproof_refuse()")
