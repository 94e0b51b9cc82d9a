"""Finding things by a word or a tag, and a few rows of the trail at a time."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import ColumnElement, Select, Text, cast, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from spinproof.ledger import shop_tables as shop
from spinproof.ledger import tables
from spinproof.ledger.entries import AuditEntry
from spinproof.ledger.shop_reading import ShopReading

MOST_EACH = 25
"""So many things of one kind are given."""
MOST_WORDS = 12
"""So many words are looked for; more tell nothing new."""


@dataclass(frozen=True)
class Hit:
    """Something that was found."""

    kind: str
    name: str
    words: str
    job: str | None = None
    unit: str | None = None
    position: str | None = None
    key: str | None = None
    """What the audit trail calls it, where that is not its name."""


def search(records: ShopReading, asked: str) -> tuple[Hit, ...]:
    """Find jobs, heads, runs, parts, findings, instruments, calculations and documents.

    Parameters
    ----------
    records : ShopReading
        The records.
    asked : str
        Words; what is found holds each of them, in any order and any case.

    Returns
    -------
    tuple of Hit
        At most `MOST_EACH` of each kind, the newest first where they have an order.
    """
    words = asked.split()[:MOST_WORDS]
    if not words:
        return ()
    session = records._session  # noqa: SLF001 - the same room
    return tuple(hit for query in _QUERIES for hit in query(session, words))


def trail_rows(
    records: ShopReading,
    about: Collection[str],
    who: str | None,
    before: int | None,
    most: int,
) -> tuple[AuditEntry, ...]:
    """Give rows of the audit trail, the newest first.

    Parameters
    ----------
    records : ShopReading
        The records.
    about : collection of str
        Only rows about these objects; all when it is empty.
    who : str or None
        Only acts of this person.
    before : int or None
        Only rows with a lower number.
    most : int
        How many at most.

    Returns
    -------
    tuple of AuditEntry
        The rows.
    """
    table = tables.Audit.__table__
    query = select(table).order_by(table.c.seq.desc()).limit(most)
    if about:
        query = query.where(table.c.object.in_(about))
    if who is not None:
        query = query.where(table.c.who == who)
    if before is not None:
        query = query.where(table.c.seq < before)
    session = records._session  # noqa: SLF001 - the same room
    return tuple(AuditEntry(**row) for row in session.execute(query).mappings())


def _found(
    session: Session,
    kind: str,
    asked: list[str],
    query: Select[*tuple[Any, ...]],
    *columns: ColumnElement[Any],
) -> Iterator[Hit]:
    held = [or_(*(column.icontains(word, autoescape=True) for column in columns)) for word in asked]
    for row in session.execute(query.where(*held).limit(MOST_EACH)):
        yield Hit(kind, *row)


def _jobs(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = tables.Job
    query = select(row.name, row.order_token, row.name).order_by(row.opened_at.desc())
    yield from _found(session, "job", asked, query, _c(row.name), _c(row.order_token))


def _units(session: Session, asked: list[str]) -> Iterator[Hit]:
    row, machine = tables.Unit, tables.Machine
    query = (
        select(row.designation, row.words, machine.job, row.designation, row.kind)
        .join(machine, machine.designation == row.machine)
        .order_by(row.designation)
    )
    columns = (_c(row.designation), _c(row.words), _c(row.position), _c(row.machine))
    for hit in _found(session, "head", asked, query, *columns):
        yield replace(hit, kind=hit.position or hit.kind, position=None)


def _runs(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = tables.Run
    words = row.recipe_name + ", " + row.started_at
    query = select(row.name, words).order_by(row.started_at.desc())
    yield from _found(session, "run", asked, query, _c(row.name), _c(row.recipe_name))


def _parts(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = shop.Part
    columns = (row.tag, row.words, row.code, row.serial, row.lot, row.material)
    held = [
        or_(
            row.tag.icontains(word.replace("-", ""), autoescape=True),  # dashes are for the eye
            *(column.icontains(word, autoescape=True) for column in columns),
        )
        for word in asked
        if word.strip("-")
    ]
    query = select(row.tag, row.words, row.job).where(*held).order_by(row.tag).limit(MOST_EACH)
    for found in session.execute(query) if held else ():
        yield Hit("part", *found)


def _matters(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = shop.Matter
    text = row.content["text"].as_string()
    place = row.content["position"].as_string()
    query = select(row.kind, row.name, text, row.job, row.unit, place).order_by(row.at.desc())
    held = [
        or_(row.name.icontains(word, autoescape=True), text.icontains(word, autoescape=True))
        for word in asked
    ]
    for kind, *rest in session.execute(query.where(*held).limit(MOST_EACH)):
        yield Hit(kind, *(rest[0], rest[1] or "", *rest[2:]))


def _scope(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = tables.ScopeItem
    query = select(row.item, row.text + ": " + row.state, row.job).order_by(row.job, row.item)
    columns = (_c(row.item), _c(row.text), _c(row.state), _c(row.unit))
    yield from _found(session, "scope line", asked, query, *columns)


def _instruments(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = shop.InstrumentRow
    query = select(row.name, row.words).order_by(row.name)
    yield from _found(session, "instrument", asked, query, _c(row.name), _c(row.words))


def _calculations(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = shop.CalculationRow
    title = row.content["title"].as_string()
    query = select(cast(row.id, Text), title, row.job, row.unit).order_by(row.id.desc())
    columns = (title, _c(row.calculator), _c(row.job), _c(row.who))
    yield from _found(session, "calculation", asked, query, *columns)


def _evidence(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = tables.Evidence
    query = select(row.name, row.what, row.job, row.sha256).order_by(row.at.desc())
    columns = (_c(row.name), _c(row.what), _c(row.sha256))
    for hit in _found(session, "evidence", asked, query, *columns):
        yield replace(hit, unit=None, key=hit.unit)


def _documents(session: Session, asked: list[str]) -> Iterator[Hit]:
    row = tables.Document
    query = select(row.name, row.sha256, row.kind).order_by(row.kept_at.desc())
    for hit in _found(
        session, "document", asked, query, _c(row.name), _c(row.kind), _c(row.sha256)
    ):
        yield Hit("document", hit.name, f"{hit.job}, {hit.words[:12]}", key=f"{hit.words}")


def _c(column: InstrumentedAttribute[Any]) -> ColumnElement[Any]:
    return column.expression


_QUERIES: tuple[Callable[[Session, list[str]], Iterator[Hit]], ...] = (
    _jobs,
    _units,
    _parts,
    _matters,
    _scope,
    _runs,
    _instruments,
    _calculations,
    _evidence,
    _documents,
)
