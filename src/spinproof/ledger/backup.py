"""A whole ledger as one SQLite file, whatever database it is kept in, and back again.

The file holds everything, secrets of people included: it is for a safe place of the shop, not
for leaving it. What leaves is an export.
"""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NoReturn

from sqlalchemy import Connection, Engine, select

from spinproof.files.durable import storage_errors, sync_file, sync_folder
from spinproof.files.tree import root_of
from spinproof.ledger import database, upgrade
from spinproof.ledger.heads import LOG_DIGITS, TreeHead
from spinproof.ledger.importing import set_counters
from spinproof.ledger.snapshot import require_sound, save_snapshot, sqlite_errors
from spinproof.ledger.tables import Audit, Base, Release
from spinproof.model.errors import BusyError, StorageError

BATCH = 500


def save_copy(engine: Engine, target: Path, at: str) -> None:
    """Copy a ledger that is in use into one file.

    Parameters
    ----------
    engine : Engine
        The ledger's database.
    target : Path
        The file; it appears when it is whole.
    at : str
        The present instant, RFC 3339.

    Notes
    -----
    StorageError says when the disk is full or the database damaged; no part of a file is left.
    """
    if engine.dialect.name == "sqlite":
        save_snapshot(Path(engine.url.database or ""), target)
        return
    part = target.with_name(f"{target.name}.tables")
    with storage_errors(target):
        part.unlink(missing_ok=True)
    try:
        with database.reader(engine).connect() as source, source.begin():
            _build(source, part, at)
        save_snapshot(part, target)
    finally:
        for leftover in target.parent.glob(f"{part.name}*"):
            leftover.unlink(missing_ok=True)


def _build(source: Connection, file: Path, at: str) -> None:
    copy = database.connect(f"sqlite:///{file.absolute()}", patience_s=5)
    try:
        with database.database_errors(copy):
            upgrade.bring_up_to_date(copy, at)
            with database.writer(copy).begin() as target:
                _copy_rows(source, target)
    finally:
        copy.dispose()


def _copy_rows(source: Connection, target: Connection) -> None:
    for table in Base.metadata.sorted_tables:
        if table is Release.__table__:
            continue
        rows = source.execute(
            select(table).order_by(*table.primary_key.columns).execution_options(yield_per=BATCH)
        )
        for batch in rows.mappings().partitions():
            target.execute(table.insert(), [dict(row) for row in batch])


def put_back(copy: Path, url: str, at: str) -> None:
    """Make a ledger from a copy.

    Parameters
    ----------
    copy : Path
        A file as `save_copy` writes it.
    url : str
        Address of the new ledger: a SQLite file that does not exist, or an empty database.
    at : str
        The present instant, RFC 3339.

    Notes
    -----
    BusyError says when a ledger with records is there already. The copy is not touched.
    """
    engine = database.connect(url, patience_s=5)
    try:
        if engine.dialect.name == "sqlite":
            _place(copy, Path(engine.url.database or ""))
            return
        with database.database_errors(engine):
            upgrade.bring_up_to_date(engine, at)
            with database.writer(engine).begin() as target:
                if target.scalar(select(Audit.seq).limit(1)) is not None:
                    _refuse_occupied(url)
                _fill(copy, target, at)
    finally:
        engine.dispose()


def _place(copy: Path, file: Path) -> None:
    with storage_errors(file):
        if file.exists():
            _refuse_occupied(str(file))
        part = file.with_name(f"{file.name}.part")
        try:
            shutil.copyfile(copy, part)
            sync_file(part)
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(file.parent)


def _fill(copy: Path, target: Connection, at: str) -> None:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "ledger.db"
        _place(copy, file)
        source = database.connect(f"sqlite:///{file}", patience_s=5)
        try:
            with database.database_errors(source):
                upgrade.bring_up_to_date(source, at)
                with source.connect() as connection:
                    _copy_rows(connection, target)
        finally:
            source.dispose()
    set_counters(target)


def _refuse_occupied(where: str) -> NoReturn:
    raise BusyError(
        "a ledger with records is there already",
        where=where,
        mend="Restore into an empty place, and compare before you replace anything.",
    )


def head_of_copy(copy: Path) -> TreeHead | None:
    """Read the head of the audit trail from a copy, and check that the copy is sound.

    Parameters
    ----------
    copy : Path
        A file as `save_copy` writes it; it is not touched.

    Returns
    -------
    TreeHead or None
        The head; None when nothing was recorded.

    Raises
    ------
    StorageError
        If the file is no ledger, or is damaged.
    """
    address = f"{copy.absolute().as_uri()}?mode=ro&immutable=1"
    if not copy.is_file():
        raise StorageError("there is no such copy", where=str(copy), mend="Name another backup.")
    with sqlite_errors(copy), closing(sqlite3.connect(address, uri=True)) as connection:
        require_sound(connection, copy)
        rows = connection.execute("SELECT sha256 FROM audit ORDER BY seq")
        leaves = [bytes.fromhex(leaf) for (leaf,) in rows]
    if not leaves:
        return None
    return TreeHead(leaves[0].hex()[:LOG_DIGITS], len(leaves), root_of(leaves).hex())
