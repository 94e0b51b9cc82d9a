"""Building a ledger from an export: the audit trail, row by row, gives back every table."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Integer, func, insert, select
from sqlalchemy.orm import Session

from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger import audit, database, tables, upgrade
from spinproof.ledger.acts import ACTS, table_of
from spinproof.ledger.entries import AuditCheck, AuditEntry
from spinproof.ledger.heads import Anchor
from spinproof.ledger.verification import key_of, verify
from spinproof.model.errors import RecordError

MEND = "Take the export again from the ledger that it came from, and copy it whole."

BATCH = 500
"""Rows of the trail that are written at once."""


@dataclass(frozen=True)
class Line:
    """A row of the trail as it ships."""

    seq: int
    leaf: str
    row: AuditEntry | None
    """None when it is withheld."""


def read_line(line: bytes, number: int) -> Line:
    """Read a line of an export.

    Parameters
    ----------
    line : bytes
        The line.
    number : int
        Its number, from 1; rows stand in order.

    Returns
    -------
    Line
        The row, checked against its leaf.

    Raises
    ------
    RecordError
        If it is no such line, or does not fit its leaf.
    """
    where = f"line {number} of the audit trail"
    try:
        document = json.loads(line)
        leaf, seq = document.pop("leaf"), document["seq"]
        row = AuditEntry(**document, sha256=leaf) if "act" in document else None
        fits = row is None or audit.row_hash(row) == leaf
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise RecordError("this is no row of an audit trail", where=where, mend=MEND) from error
    if seq != number or not fits:
        raise RecordError(
            "the row was changed since it was exported, or is out of order", where=where, mend=MEND
        )
    return Line(seq, leaf, row)


def replay(connection: Connection, lines: Iterable[Line], texts: Path) -> int:
    """Build the tables of an empty ledger from an audit trail.

    Parameters
    ----------
    connection : Connection
        Connection in a transaction.
    lines : iterable of Line
        Every row, none withheld.
    texts : Path
        Folder of the documents, each named by its SHA-256.

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    RecordError
        If a row is withheld, or a document is missing or changed.
    """
    if connection.scalar(select(func.count()).select_from(tables.Audit)):
        raise RecordError(
            "the ledger holds records already",
            where=connection.engine.url.render_as_string(hide_password=True),
            mend="Import into an empty ledger; two trails cannot be merged.",
        )
    known: set[str] = set()
    count, waiting = 0, []
    for line in lines:
        if line.row is None:
            raise RecordError(
                f"row {line.seq} is withheld, and a ledger cannot be built without it",
                where=f"line {line.seq} of the audit trail",
                mend="Ask for a full export; this one is good for checking alone.",
            )
        if line.row.act not in ACTS:
            raise RecordError(
                f"this version knows no act {line.row.act}",
                where=f"line {line.seq} of the audit trail",
                mend="Import with the version that wrote the export, or a later one.",
            )
        _apply(connection, line.row, known, texts)
        waiting.append(vars(line.row))
        count += 1
        if len(waiting) == BATCH:
            connection.execute(insert(tables.Audit), waiting)
            waiting = []
    if waiting:
        connection.execute(insert(tables.Audit), waiting)
    if connection.dialect.name == "postgresql":
        set_counters(connection)
    return count


def _apply(connection: Connection, row: AuditEntry, known: set[str], texts: Path) -> None:
    table, since = table_of(row.act), json.loads(row.after)
    key = key_of(ACTS[row.act], since)
    if key in known:
        before = json.loads(row.before or "{}")
        changed = {name: value for name, value in since.items() if value != before.get(name)}
        same = [column == since[column.name] for column in table.primary_key]
        if changed:
            connection.execute(table.update().where(*same).values(changed))
        return
    known.add(key)
    if audit.HELD_BY_HASH in table.columns:
        since[audit.HELD_BY_HASH] = _text(texts, since["sha256"])
    connection.execute(table.insert(), since)


def _text(texts: Path, sha256: str) -> str:
    path = texts / f"{sha256}.json"
    data = path.read_bytes() if path.is_file() else b""
    if sha256_of_bytes(data) != sha256:
        raise RecordError("the document is missing or was changed", where=str(path), mend=MEND)
    return data.decode()


def set_counters(connection: Connection) -> None:
    """Let numbers that PostgreSQL allots go on after those that were brought in.

    Parameters
    ----------
    connection : Connection
        Connection to a PostgreSQL database, in a transaction.
    """
    for table in {table_of(act) for act in ACTS}:
        column = table.autoincrement_column
        last = None if column is None else connection.scalar(select(func.max(column)))
        if column is not None and last is not None and isinstance(column.type, Integer):
            sequence = func.pg_get_serial_sequence(table.name, column.name)
            connection.execute(select(func.setval(sequence, last)))


def build_ledger(url: str, at: str, lines: Iterable[Line], texts: Path, head: Anchor) -> AuditCheck:
    """Build a ledger from an export, or leave the database as it was.

    Parameters
    ----------
    url : str
        Address of a database without records.
    at : str
        The present instant, RFC 3339.
    lines : iterable of Line
        Every row of the audit trail, none withheld.
    texts : Path
        Folder of the documents, each named by its SHA-256.
    head : Anchor
        The head that came with the export.

    Returns
    -------
    AuditCheck
        The check of the new ledger; it has no findings.

    Raises
    ------
    RecordError
        If the rows do not give the tables that they tell of, or not the head.
    """
    engine = database.connect(url, patience_s=30)
    try:
        with database.database_errors(engine):
            upgrade.bring_up_to_date(engine, at)
            with database.writer(engine).begin() as connection:
                replay(connection, lines, texts)
                check = verify(Session(connection), [head])
                if check.findings or check.entries != head.signed.head.size:
                    raise RecordError(
                        "the export does not hold together "
                        f"({check.broken or 'it goes on after its head'})",
                        where=head.words,
                        mend=MEND,
                    )
    finally:
        engine.dispose()
    return check
