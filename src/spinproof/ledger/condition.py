"""The condition of the database itself: settings, guards, pages."""

from collections.abc import Iterator
from typing import cast

from sqlalchemy import Connection, Engine, exc

from spinproof.ledger import people_tables, shop_tables, tables
from spinproof.ledger.acts import ACTS

_SQLITE = {
    "journal_mode": ("wal", "a power cut could then damage the ledger or block its readers"),
    "synchronous": (2, "a power cut could then lose what was confirmed as stored"),
    "foreign_keys": (1, "rows could then refer to nothing"),
    "secure_delete": (1, "what was removed would then stay readable in the file"),
}
_POSTGRESQL = {
    "fsync": ("on", "a power cut could then damage the ledger"),
    "synchronous_commit": ("on", "a power cut could then lose what was confirmed as stored"),
    "full_page_writes": ("on", "a power cut could then damage the ledger"),
    "data_sync_retry": ("off", "a failed write could then pass for a good one"),
}
_DELETE, _UPDATE = 8, 16  # bits of pg_trigger.tgtype


def faults_of(engine: Engine) -> tuple[str, ...]:
    """Say what is wrong with the database that holds the ledger.

    Parameters
    ----------
    engine : Engine
        The ledger's database.

    Returns
    -------
    tuple of str
        Sentences without a full stop; none when all is well.
    """
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            return (
                *_sqlite_settings(connection),
                *_pages(connection),
                *_unguarded(_sqlite_guards(connection)),
            )
        return (
            *_postgresql_settings(connection),
            *_unguarded(_postgresql_guards(connection)),
        )


def _sqlite_settings(connection: Connection) -> Iterator[str]:
    for name, (wanted, otherwise) in _SQLITE.items():
        found = connection.exec_driver_sql(f"PRAGMA {name}").scalar()
        if found != wanted:
            yield f"the database's {name} is {found}, not {wanted}: {otherwise}"


def _postgresql_settings(connection: Connection) -> Iterator[str]:
    for name, (wanted, otherwise) in _POSTGRESQL.items():
        found = connection.exec_driver_sql(f"SHOW {name}").scalar()
        if found != wanted:
            yield f"the server's {name} is {found}, not {wanted}: {otherwise}"


def _pages(connection: Connection) -> Iterator[str]:
    try:
        said = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    except exc.DBAPIError as error:
        said, broken = str(error.orig), None
    if said != "ok":
        yield f"the file of the ledger is damaged ({' '.join(str(said).split())})"
    if broken is not None:
        yield f"a row of {broken[0]} refers to a row of {broken[2]} that is not there"


def _sqlite_guards(connection: Connection) -> set[tuple[str, str]]:
    found = connection.exec_driver_sql(
        "SELECT tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
    )
    return {
        (table, deed)
        for table, text in found
        for deed in ("DELETE", "UPDATE")
        if f"BEFORE {deed} ON {table}" in text and "RAISE(ABORT" in text
    }


def _postgresql_guards(connection: Connection) -> set[tuple[str, str]]:
    found = connection.exec_driver_sql(
        "SELECT c.relname, t.tgtype FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
        "JOIN pg_proc p ON p.oid = t.tgfoid WHERE NOT t.tgisinternal "
        "AND t.tgenabled IN ('O', 'A') AND p.proname = 'spinproof_refuse' "
        "AND p.prosrc LIKE '%%RAISE EXCEPTION%%' AND t.tgattr = ''"
    )
    bits = {"DELETE": _DELETE, "UPDATE": _UPDATE}
    return {(table, deed) for table, kind in found for deed, bit in bits.items() if kind & bit}


def _unguarded(guards: set[tuple[str, str]]) -> Iterator[str]:
    shop_floor = {cast("str", table.__tablename__) for table in shop_tables.ACTS.values()}
    growing = {*tables.APPEND_ONLY, *people_tables.APPEND_ONLY, *shop_floor}
    told = {cast("str", table.__tablename__) for table in ACTS.values()}
    wanted = {(name, "DELETE") for name in told | growing} | {(name, "UPDATE") for name in growing}
    for table, deed in sorted(wanted - guards):
        yield f"the guard against {deed} on {table} is gone: somebody removed it"
