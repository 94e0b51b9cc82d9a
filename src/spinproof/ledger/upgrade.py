"""Making and upgrading the tables, with a copy of the file before it is changed."""

import sqlite3
from pathlib import Path
from typing import NoReturn

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, insert, inspect, select

from spinproof.ledger.database import writer
from spinproof.ledger.snapshot import save_snapshot
from spinproof.ledger.tables import Release
from spinproof.model.errors import StorageError
from spinproof.model.software import SOFTWARE

MIGRATIONS = Path(__file__).with_name("migrations")


def bring_up_to_date(engine: Engine, at: str, migrations: Path = MIGRATIONS) -> None:
    """Make the tables of an empty database, or upgrade those of an older one.

    Parameters
    ----------
    engine : Engine
        The database.
    at : str
        The present instant, RFC 3339; it names the copy.
    migrations : Path
        Folder of the migrations.

    Notes
    -----
    StorageError says when the tables were made by a newer version of the program, and which one
    is needed; or when there is no room for the copy. Nothing is changed then.
    """
    config = Config()
    config.set_main_option("script_location", str(migrations).replace("%", "%%"))
    script = ScriptDirectory.from_config(config)
    with writer(engine).connect() as connection:
        sqlite = engine.dialect.name == "sqlite"
        if sqlite:  # rebuilding a table would otherwise delete the rows that refer to it
            _execute_outside_a_transaction(connection, "PRAGMA foreign_keys=OFF")
        with connection.begin():
            found = MigrationContext.configure(connection).get_current_revision()
            if found != script.get_current_head():
                if found is not None and found not in {r.revision for r in script.walk_revisions()}:
                    _refuse_newer(engine, connection, found)
                if sqlite and found is not None:
                    _copy(engine, found, at)
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
                _sign(connection, script.get_current_head(), at)
                if sqlite:
                    _check_references(connection)
        if sqlite:
            _execute_outside_a_transaction(connection, "PRAGMA foreign_keys=ON")


def _sign(connection: Connection, revision: str | None, at: str) -> None:
    values = {"revision": revision, "software": SOFTWARE, "at": at}
    connection.execute(insert(Release).values(values))


def _execute_outside_a_transaction(connection: Connection, statement: str) -> None:
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)  # noqa: S101 - tells the type checker
    driver.execute(statement)


def _copy(engine: Engine, revision: str, at: str) -> None:
    file = Path(engine.url.database or "")
    stamp = at.replace("-", "").replace(":", "")
    save_snapshot(
        file, file.with_name(f"{file.stem}-before-upgrade-from-{revision}-{stamp}{file.suffix}")
    )


def _refuse_newer(engine: Engine, connection: Connection, found: str) -> NoReturn:
    needed = "a newer version of spinproof"
    if inspect(connection).has_table(Release.__tablename__):
        query = select(Release.software).where(Release.revision == found)
        needed = connection.scalar(query) or needed
    raise StorageError(
        f"the ledger was written by {needed}, and this is {SOFTWARE} (tables {found})",
        where=f"ledger {engine.url.render_as_string(hide_password=True)}",
        mend=f"Install {needed} or a later one; nothing was changed.",
    )


def _check_references(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise StorageError(
            f"the upgrade would leave {len(broken)} rows that refer to nothing",
            where=f"table {broken[0][0]}",
            mend="Nothing was changed; report this with the copy that lies beside the ledger.",
        )
