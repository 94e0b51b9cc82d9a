"""The audit trail: rows chained by hash, written in the transaction of the change they tell of.

Each row tells of one change to one row of another table and holds that row's content since, so
that replaying the trail gives the tables. Whoever changes a table behind the trail's back
contradicts it.
"""

from collections.abc import Generator
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.tree import leaf_hash
from spinproof.ledger import tables
from spinproof.ledger.entries import AuditEntry

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
    text = canonical_json(content)
    if row.salt is None:
        return sha256_of_bytes(text)
    return leaf_hash(bytes.fromhex(row.salt) + text).hex()


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
