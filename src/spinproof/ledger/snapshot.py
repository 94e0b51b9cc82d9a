"""Copies of a SQLite ledger while it is in use: whole, checked, and in one file."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from spinproof.files.durable import storage_errors, sync_file, sync_folder
from spinproof.ledger.database import mend_of
from spinproof.model.errors import StorageError


def save_snapshot(source: Path, target: Path) -> None:
    """Copy a ledger as it is at one moment; others may go on writing.

    Parameters
    ----------
    source : Path
        The ledger's file.
    target : Path
        The copy; an existing file is replaced only when the new one is whole.

    Notes
    -----
    StorageError says when the disk is full or the ledger is damaged; no part of a copy is left
    then. Copying the file itself would miss what still stands in the write-ahead log.
    """
    part = target.with_name(f"{target.name}.part")
    with storage_errors(target):
        part.unlink(missing_ok=True)
        try:
            with sqlite_errors(source):
                _copy(source, part)
            sync_file(part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(target.parent)


def _copy(source: Path, target: Path) -> None:
    with (
        closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as original,
        closing(sqlite3.connect(target)) as copy,
    ):
        original.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # the copy is one file, without a log beside it
        require_sound(copy, target)


def require_sound(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a database whose pages, indexes or references do not hold together.

    Parameters
    ----------
    connection : Connection
        The open database.
    path : Path
        Its file, for the message.

    Raises
    ------
    StorageError
        If it is damaged.
    """
    (said,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    broken = connection.execute("PRAGMA foreign_key_check").fetchone()
    if said != "ok" or broken:
        what = said if said != "ok" else f"a row of {broken[0]} refers to nothing"
        raise StorageError(
            f"the database is damaged ({' '.join(str(what).split())})",
            where=str(path),
            mend="Put back the last backup, and keep the damaged file for inspection.",
        )


@contextmanager
def sqlite_errors(path: Path) -> Iterator[None]:
    """Put errors of SQLite's own driver into words.

    Parameters
    ----------
    path : Path
        The file that is worked on.

    Yields
    ------
    None
        While the work is done.

    Raises
    ------
    StorageError
        If the database is missing, full, read-only or damaged.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise StorageError(
            f"the database cannot be read or copied ({error})",
            where=str(path),
            mend=mend_of(str(error)),
        ) from error
