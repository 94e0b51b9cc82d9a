"""The connection to the database: SQLite in a file of its own, or a PostgreSQL server."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, exc, make_url

from spinproof.model.errors import BusyError, RecordError, StorageError

WRITES = "spinproof_writes"
"""Execution option of connections that are about to write."""
WRITER_LOCK = 0x5350_4C47
"""Key of the PostgreSQL advisory lock that makes writers take turns."""
_PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    "secure_delete=ON",
    "recursive_triggers=ON",
)


def connect(url: str, patience_s: float) -> Engine:
    """Make the engine for a database address; nothing is opened yet.

    Parameters
    ----------
    url : str
        ``sqlite:////folder/ledger.db`` or ``postgresql://user@host/database``.
    patience_s : float
        How long a writer waits for its turn. [s]

    Returns
    -------
    Engine
        The engine, with durable settings and one writer at a time.

    Raises
    ------
    StorageError
        If the address is not one of these two kinds, or the PostgreSQL driver is missing.
    """
    mend = "Give sqlite:///FILE, or postgresql://USER@HOST/DATABASE."
    try:
        address = make_url(url)
    except exc.ArgumentError as error:
        raise StorageError("the address is no database address", where=url, mend=mend) from error
    kind = address.get_backend_name()
    shown = address.render_as_string(hide_password=True)
    if kind == "sqlite" and address.database not in {None, "", ":memory:"}:
        engine = create_engine(address, connect_args={"timeout": patience_s})
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    if kind == "postgresql":
        try:
            engine = create_engine(address.set(drivername="postgresql+psycopg"))
        except ModuleNotFoundError as error:
            raise StorageError(
                "the driver for PostgreSQL is not installed",
                where=shown,
                mend="Install spinproof with its extra: pip install 'spinproof[postgres]'.",
            ) from error
        event.listen(engine, "begin", _begin_postgresql(patience_s))
        return engine
    raise StorageError("a ledger cannot be kept in this database", where=shown, mend=mend)


def writer(engine: Engine) -> Engine:
    """Give the engine whose transactions take the writer's turn as they begin.

    Parameters
    ----------
    engine : Engine
        As from `connect`.

    Returns
    -------
    Engine
        The same pool with another manner of beginning.
    """
    return engine.execution_options(**{WRITES: True})


def reader(engine: Engine) -> Engine:
    """Give the engine whose transactions see one state and cannot write.

    Parameters
    ----------
    engine : Engine
        As from `connect`.

    Returns
    -------
    Engine
        The same pool with another manner of beginning.
    """
    if engine.dialect.name == "postgresql":
        return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = None  # the driver begins nothing by itself: `_begin_sqlite` does
    for pragma in _PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get(WRITES, False)
    # a deferred transaction that reads first and writes later fails at once when another wrote
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_postgresql(patience_s: float) -> Any:
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get(WRITES, False):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(patience_s * 1000)}")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER_LOCK})")

    return begin


@contextmanager
def database_errors(engine: Engine) -> Iterator[None]:
    """Put errors of the database into words.

    Parameters
    ----------
    engine : Engine
        The database that is worked with.

    Yields
    ------
    None
        While the work is done.

    Raises
    ------
    BusyError
        If another writer did not end in time.
    RecordError
        If the change contradicts what the database holds.
    StorageError
        If the database is missing, full, read-only or damaged.
    """
    where = f"ledger {engine.url.render_as_string(hide_password=True)}"
    try:
        yield
    except exc.IntegrityError as error:
        raise RecordError(
            f"the change contradicts what the ledger holds ({_first_line(error)})",
            where=where,
            mend="Nothing was stored; look at the record that is there.",
        ) from error
    except exc.DBAPIError as error:
        said = _first_line(error)
        if "database is locked" in said or "lock timeout" in said:
            raise BusyError(
                "another writer holds the ledger and does not end",
                where=where,
                mend="Nothing was stored; try again, or end the program that hangs.",
            ) from error
        raise StorageError(
            f"the database refused the work ({said})", where=where, mend=mend_of(said)
        ) from error


def _first_line(error: exc.DBAPIError) -> str:
    return str(error.orig).strip().partition("\n")[0]


def mend_of(said: str) -> str:
    """Say what to do about an error of a database.

    Parameters
    ----------
    said : str
        What the database said.

    Returns
    -------
    str
        A sentence or two.
    """
    mends = {
        "disk is full": "Nothing was stored. Free space on that disk, then repeat the step.",
        "disk I/O error": "Nothing was stored. Check that disk and the room on it, then repeat.",
        "readonly": "Make the file and its folder writable for this user.",
        "unable to open": "Create the folder, or connect the disk that it is on.",
        "not a database": "Name the ledger's own file; this one is something else.",
        "malformed": "Put back the last backup, and keep the damaged file for inspection.",
        "append-only": "What was recorded stays; add a new record that supersedes it.",
    }
    fallback = "Nothing was stored. Check that the database runs and can be reached."
    return next((mend for part, mend in mends.items() if part in said), fallback)
