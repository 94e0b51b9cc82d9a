"""The audit trail: rows chained by hash, written in the transaction of the change they tell of.

Each row tells of one change to one row of another table and holds that row's content since, so
that replaying the trail gives the tables. Whoever changes a table behind the trail's back
contradicts it.
"""

import json
from collections.abc import Generator
from contextlib import closing
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger import tables
from spinproof.ledger.acts import ACTS
from spinproof.ledger.entries import AuditCheck, AuditEntry

BEGINNING = "0" * 64
"""What the first row names as the hash before it."""

HELD_BY_HASH = "canonical"
"""The column that the trail holds by its hash alone."""


def content(row: tables.Base) -> dict[str, Any]:
    """Give a row of a table as the trail holds it.

    Parameters
    ----------
    row : Base
        A row that has its keys.

    Returns
    -------
    dict of str to Any
        Value by column, as plain JSON types.
    """
    columns = [column.name for column in type(row).__table__.columns]
    return {name: getattr(row, name) for name in columns if name != HELD_BY_HASH}


def row_hash(row: AuditEntry) -> str:
    """Give the hash of a row, which is also its leaf in the tree.

    Parameters
    ----------
    row : AuditEntry
        The row; its ``previous`` makes it a link of the chain.

    Returns
    -------
    str
        64 hexadecimal digits.

    Notes
    -----
    SHA-256 over a zero byte, the salt, and the canonical JSON of everything else in the row. A
    row of the first release has no salt: its hash is over the canonical JSON alone, whose first
    byte, a brace, tells it from a node of the tree.
    """
    content = {key: value for key, value in vars(row).items() if key not in {"sha256", "salt"}}
    prefix = b"" if row.salt is None else b"\x00" + bytes.fromhex(row.salt)
    return sha256_of_bytes(prefix + canonical_json(content))


def append(
    session: Session,
    *,
    at: str,
    who: str,
    act: str,
    about: str,
    change: tuple[dict[str, Any] | None, dict[str, Any]],
    why: str | None,
    salt: bytes,
) -> AuditEntry:
    """Write the next row of the trail.

    Parameters
    ----------
    session : Session
        Session of the change that the row tells of.
    at, who, act, about : str
        When, who, what was done (one of ``ACTS``), and to which object.
    change : tuple
        The changed row's content before, None for a new row, and its content since.
    why : str, optional
        The reason.
    salt : bytes
        32 random bytes, drawn for this row alone.

    Returns
    -------
    AuditEntry
        The row.
    """
    before, after = change
    last = session.scalar(select(tables.Audit).order_by(tables.Audit.seq.desc()).limit(1))
    row = AuditEntry(
        seq=last.seq + 1 if last else 1,
        at=at,
        who=who,
        act=act,
        object=about,
        before=None if before is None else canonical_json(before).decode(),
        after=canonical_json(after).decode(),
        why=why,
        previous=last.sha256 if last else BEGINNING,
        sha256="",
        salt=salt.hex(),
    )
    row = AuditEntry(**{**vars(row), "sha256": row_hash(row)})
    session.add(tables.Audit(**vars(row)))
    session.flush()
    return row


def entries(session: Session, about: str | None = None) -> Generator[AuditEntry]:
    """Give the rows of the trail in order.

    Parameters
    ----------
    session : Session
        Session to read in.
    about : str, optional
        Only rows about this object.

    Yields
    ------
    AuditEntry
        Row after row.
    """
    query = select(tables.Audit.__table__).order_by(tables.Audit.seq)
    if about is not None:
        query = query.where(tables.Audit.object == about)
    with session.execute(query.execution_options(yield_per=500)) as result:
        for row in result.mappings():
            yield AuditEntry(**row)


def verify(session: Session, anchor: tuple[int, str] | None = None) -> AuditCheck:
    """Walk the trail, then compare what it tells with the tables.

    Parameters
    ----------
    session : Session
        Session to read in.
    anchor : tuple of int and str, optional
        Number of rows and hash of the last one, as noted elsewhere before.

    Returns
    -------
    AuditCheck
        The rows that hold together, and the first thing that does not.
    """
    count, head, anchored = 0, BEGINNING, anchor in {None, (0, BEGINNING)}
    told: dict[str, dict[str, Any]] = {}
    with closing(entries(session)) as rows:
        for row in rows:
            broken = _break(row, count + 1, head)
            if broken:
                return AuditCheck(count, head, broken)
            count, head = row.seq, row.sha256
            anchored = anchored or anchor == (count, head)
            since = json.loads(row.after)
            told[_key(ACTS[row.act], since)] = since
    if not anchored and anchor is not None:
        lost = f"no row {anchor[0]} has the hash {anchor[1]} that was noted elsewhere"
        return AuditCheck(count, head, lost)
    return AuditCheck(count, head, _contradiction(session, told) or _changed_text(session))


def _break(row: AuditEntry, seq: int, previous: str) -> str | None:
    if row.seq != seq:
        return f"row {seq} is missing: row {row.seq} follows row {seq - 1}"
    if row.previous != previous:
        return f"row {seq} does not follow the row before it"
    if row.sha256 != row_hash(row):
        return f"row {seq} was changed after it was written"
    if row.act not in ACTS:
        return f"row {seq} tells of {row.act}, which is no act of the ledger"
    return None


def _key(table: type[tables.Base], row: dict[str, Any]) -> str:
    keys = [str(row.get(column.name)) for column in table.__table__.primary_key]
    return f"{table.__tablename__} {' '.join(keys)}"


def _contradiction(session: Session, told: dict[str, dict[str, Any]]) -> str | None:
    for table in dict.fromkeys(ACTS.values()):
        for row in session.scalars(select(table)):
            found = content(row)
            since = told.pop(_key(table, found), None)
            if since is None:
                return f"{_key(table, found)} is not in the trail"
            if since != found:
                changed = ", ".join(key for key in found if found[key] != since.get(key))
                return f"{_key(table, found)} is not what the trail tells: {changed} differs"
    return f"{next(iter(told))} is in the trail, and gone from its table" if told else None


def _changed_text(session: Session) -> str | None:
    for table in (tables.Document, tables.JudgementRow):
        query = select(table.sha256, table.canonical).execution_options(yield_per=100)
        with session.execute(query) as result:
            changed = [own for own, text in result if sha256_of_bytes(text.encode()) != own]
        if changed:
            return f"{table.__tablename__} {changed[0]} was changed after it was written"
    return None
