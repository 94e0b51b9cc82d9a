"""Somebody with every right on the machine: the guards off, the hashes mended."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from sqlalchemy import Connection, Engine, text
from sqlalchemy.orm import Session

from spinproof.files.signing import new_private_key
from spinproof.ledger import audit, tables
from spinproof.ledger.entries import AuditCheck, AuditEntry
from spinproof.ledger.heads import Anchor, SignedHead, TreeHead, sign_head
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.verification import verify

STATION_KEY = new_private_key()
TRAIL = tables.Audit.__table__


@contextmanager
def insider(engine: Engine) -> Iterator[Connection]:
    """Open the database with every right and the guards off; undo everything at the end."""
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            names = connection.execute(text("SELECT name FROM sqlite_master WHERE type='trigger'"))
            for (name,) in names.fetchall():
                connection.exec_driver_sql(f"DROP TRIGGER {name}")
        else:
            connection.exec_driver_sql("DROP FUNCTION spinproof_refuse CASCADE")
        yield connection
        connection.rollback()


def check(connection: Connection, *anchors: Anchor) -> AuditCheck:
    with Session(connection) as session:
        return verify(session, anchors)


def rows_of(connection: Connection) -> list[AuditEntry]:
    found = connection.execute(TRAIL.select().order_by(TRAIL.c.seq)).mappings()
    return [AuditEntry(**row) for row in found]


def store(connection: Connection, rows: Iterable[AuditEntry]) -> None:
    """Put other rows in the place of the whole trail."""
    connection.execute(TRAIL.delete())
    connection.execute(TRAIL.insert(), [vars(row) for row in rows])


def mended(rows: Iterable[AuditEntry]) -> list[AuditEntry]:
    """Give rows new numbers and mend every hash."""
    fresh: list[AuditEntry] = []
    for row in rows:
        previous = fresh[-1].sha256 if fresh else audit.BEGINNING
        linked = replace(row, seq=len(fresh) + 1, previous=previous)
        fresh.append(replace(linked, sha256=audit.row_hash(linked)))
    return fresh


def head_of(ledger: Ledger, size: int | None = None) -> SignedHead:
    """Give a signed head of a ledger."""
    with ledger.reading() as records:
        return sign_head(records.tree_head(size), STATION_KEY)


def letter(head: TreeHead | SignedHead) -> Anchor:
    """Give a head as somebody outside kept it."""
    signed = head if isinstance(head, SignedHead) else SignedHead(head)
    return Anchor(signed, f"the letter with {signed.head.size} rows")
