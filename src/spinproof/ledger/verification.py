"""Checking the ledger: the audit trail by itself, the tables by the trail, both by anchors.

Replaying the trail gives the tables. Whoever changes a table behind the trail's back contradicts
it; whoever changes the trail contradicts its hashes; whoever mends the hashes too contradicts the
heads that left the house.
"""

import json
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import fields
from typing import Any

from sqlalchemy import Boolean, Integer, select, type_coerce
from sqlalchemy.orm import Session

from spinproof.files.digest import sha256_of_bytes
from spinproof.files.tree import GrowingTree
from spinproof.ledger import audit, tables
from spinproof.ledger.acts import ACTS
from spinproof.ledger.anchors import Trail, compare, unproved
from spinproof.ledger.entries import AuditCheck, AuditEntry
from spinproof.ledger.heads import (
    LOG_DIGITS,
    Anchor,
    AnchorEntry,
    RestorationEntry,
    SignedHead,
    TreeHead,
    Way,
)


def verify(session: Session, outside: Iterable[Anchor] = ()) -> AuditCheck:
    """Walk the trail, compare it with the tables, then with heads that left the house.

    Parameters
    ----------
    session : Session
        Session to read in.
    outside : iterable of Anchor
        Heads that came back from outside; those that the ledger notes itself are compared too.

    Returns
    -------
    AuditCheck
        Everything that does not hold, and what the check cannot show.
    """
    given, noted = tuple(outside), noted_anchors(session)
    anchors: tuple[Anchor | AnchorEntry, ...] = (*given, *noted)
    walk = _Walk({anchor.signed.head.size for anchor in anchors})
    with closing(audit.entries(session)) as rows:
        for row in rows:
            walk.step(row)
    against = compare(walk.trail, anchors)
    findings = (
        *walk.findings,
        *_contradictions(session, walk.told),
        *_neither_true_nor_false(session),
        *_changed_texts(session),
        *against.findings,
    )
    return AuditCheck(
        entries=walk.tree.size,
        head=walk.head,
        root=walk.tree.root.hex(),
        findings=findings,
        forks=against.forks,
        unproved=unproved(walk.trail, given, noted),
    )


def noted_anchors(session: Session) -> tuple[AnchorEntry, ...]:
    """Give the heads that the ledger notes as sent out, in order."""
    rows = session.scalars(select(tables.Anchor).order_by(tables.Anchor.id))
    return tuple(
        AnchorEntry(
            signed=SignedHead(TreeHead(row.log, row.size, row.root), row.signature, row.public_key),
            way=Way(row.way),
            place=row.place,
            who=row.who,
            at=row.at,
        )
        for row in rows
    )


class _Walk:
    """The trail, row by row: what it tells, and where it does not hold together."""

    def __init__(self, sizes: set[int]) -> None:
        self.findings: list[str] = []
        self.told: dict[str, dict[str, Any]] = {}
        self.tree = GrowingTree()
        self.head = audit.BEGINNING
        self._sizes = sizes
        self._next = 1
        self._log: str | None = None
        self._roots = {0: self.tree.root.hex()}
        self._restorations: list[RestorationEntry] = []

    @property
    def trail(self) -> Trail:
        """What anchors are compared with."""
        return Trail(self._log, self.tree.size, self._roots, tuple(self._restorations))

    def step(self, row: AuditEntry) -> None:
        """Take the next row."""
        self.findings.extend(self._breaks(row))
        if row.act in ACTS:
            self._listen(row, ACTS[row.act])
        self._log = self._log or row.sha256[:LOG_DIGITS]
        self._next, self.head = row.seq + 1, row.sha256
        self.tree.add(_leaf(row.sha256))
        if self.tree.size in self._sizes:
            self._roots[self.tree.size] = self.tree.root.hex()

    def _breaks(self, row: AuditEntry) -> Iterator[str]:
        if row.seq != self._next:
            yield _missing(self._next, row.seq)
        elif row.previous != self.head:
            yield f"row {row.seq} does not follow the row before it"
        if row.sha256 != _hash_of(row):
            yield f"row {row.seq} was changed after it was written"
        if row.act not in ACTS:
            yield f"row {row.seq} tells of {row.act}, which is no act of the ledger"

    def _listen(self, row: AuditEntry, table: type[tables.Base]) -> None:
        told = _told_by(row)
        if told is None:
            self.findings.append(f"row {row.seq} tells nothing that can be read")
            return
        before, since = told
        key = key_of(table, since)
        known = self.told.get(key)
        if (before is None) is not (known is None) or _differing(before or {}, known or {}):
            self.findings.append(
                f"row {row.seq} begins from another state of {key} than the rows before it told"
            )
        self.told[key] = since
        if table is tables.Restoration:
            self._put_back(row, since)

    def _put_back(self, row: AuditEntry, since: dict[str, Any]) -> None:
        told: dict[str, Any] = {f.name: since.get(f.name) for f in fields(RestorationEntry)}
        entry = RestorationEntry(**told)
        if (entry.size, entry.root) != (self.tree.size, self.tree.root.hex()):
            self.findings.append(
                f"row {row.seq} tells that a state of {entry.size} rows was put back, and the "
                f"{self.tree.size} rows before it are not that state"
            )
        self._restorations.append(entry)


def _hash_of(row: AuditEntry) -> str | None:
    try:
        return audit.row_hash(row)
    except ValueError:  # a salt that is none
        return None


def _leaf(sha256: str) -> bytes:
    try:
        return bytes.fromhex(sha256)
    except ValueError:  # the row was found to be changed already
        return sha256.encode()


def _told_by(row: AuditEntry) -> tuple[dict[str, Any] | None, dict[str, Any]] | None:
    """Give what a row tells, the content before and since; None when it cannot be read."""
    try:
        before = None if row.before is None else json.loads(row.before)
        since = json.loads(row.after)
    except ValueError:
        return None
    whole = isinstance(since, dict) and isinstance(before, dict | None)
    return (before, since) if whole else None


def _missing(first: int, found: int) -> str:
    if found < first:
        return f"row {found} stands twice or out of its order"
    lost = f"row {first} is" if found == first + 1 else f"rows {first} to {found - 1} are"
    return f"{lost} missing: row {found} follows row {first - 1}"


def key_of(table: type[tables.Base], row: dict[str, Any]) -> str:
    """Name a row of a table: the table and the row's key.

    Parameters
    ----------
    table : type of Base
        The table.
    row : dict of str to Any
        The row's content as the trail holds it.

    Returns
    -------
    str
        For example "run QA-1041-L-017".
    """
    keys = [str(row.get(column.name)) for column in table.__table__.primary_key]
    return f"{table.__tablename__} {' '.join(keys)}"


def _differing(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Name the columns that differ; one that a row was written without counts as empty."""
    return [key for key in {**one, **other} if one.get(key) != other.get(key)]


def _contradictions(session: Session, told: dict[str, dict[str, Any]]) -> Iterator[str]:
    rest = dict(told)
    for table in dict.fromkeys(ACTS.values()):
        columns = {column.name for column in table.__table__.columns}
        for key, found in _held(session, table):
            since = rest.pop(key, None)
            if since is None:
                yield f"{key} is not in the trail"
                continue
            if isinstance(found, str):
                yield f"{key} is not what the trail tells: it cannot be read ({found})"
                continue
            kept = {key: value for key, value in since.items() if key in columns}
            if changed := _differing(found, kept):
                what = ", ".join(changed)
                yield f"{key} is not what the trail tells: {what} differs"
    for key in rest:
        yield f"{key} is in the trail, and gone from its table"


def _held(session: Session, table: type[tables.Base]) -> Iterator[tuple[str, dict[str, Any] | str]]:
    """Give the rows of a table by key; for one that cannot be read, why."""
    try:
        rows = [audit.content(row) for row in session.scalars(select(table))]
    except ValueError:
        yield from _held_one_by_one(session, table)
        return
    for row in rows:
        yield key_of(table, row), row


def _held_one_by_one(
    session: Session, table: type[tables.Base]
) -> Iterator[tuple[str, dict[str, Any] | str]]:
    keys = list(table.__table__.primary_key)
    for values in session.execute(select(*keys)).all():
        key = key_of(table, {column.name: v for column, v in zip(keys, values, strict=True)})
        try:
            row = session.get(table, tuple(values))
        except ValueError as error:
            yield key, str(error)
            continue
        if row is not None:
            yield key, audit.content(row)


def _neither_true_nor_false(session: Session) -> Iterator[str]:
    """Name what reads as true in one question and as false in another: SQLite takes any value."""
    if session.get_bind().dialect.name != "sqlite":
        return
    for table in dict.fromkeys(ACTS.values()):
        keys = list(table.__table__.primary_key)
        for column in table.__table__.columns:
            if not isinstance(column.type, Boolean):
                continue
            odd = select(*keys).where(type_coerce(column, Integer).not_in((0, 1)))
            for row in session.execute(odd).mappings():
                key = key_of(table, dict(row))
                yield f"{key} is not what the trail tells: {column.name} is neither true nor false"


def _changed_texts(session: Session) -> Iterator[str]:
    for table in tables_with_text():
        query = select(table.sha256, table.canonical).execution_options(yield_per=100)
        with session.execute(query) as result:
            for own, text in result:
                if not isinstance(text, str) or sha256_of_bytes(text.encode()) != own:
                    yield f"{table.__tablename__} {own} was changed after it was written"


def tables_with_text() -> tuple[Any, ...]:
    """Give the tables whose rows carry a document that the trail holds by its hash alone."""
    every = dict.fromkeys(ACTS.values())
    return tuple(table for table in every if audit.HELD_BY_HASH in table.__table__.columns)
