"""Somebody with every right who edits, cuts and rewrites a ledger's file by hand, at random.

The guards of the database are taken off and put back, so that nothing but the content tells.
"""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection, Index, Table, UniqueConstraint, create_engine, event, text
from tests.ledger.insider import TRAIL, mended, rows_of, store

from spinproof.files.canonical import canonical_json
from spinproof.ledger import audit
from spinproof.ledger.acts import ACTS
from spinproof.ledger.entries import AuditEntry
from spinproof.ledger.verification import key_of

TOLD = {model.__tablename__: model for model in ACTS.values()}


@dataclass(frozen=True)
class Forgery:
    """What was done by hand."""

    way: str
    told_by: tuple[str, ...] = ()
    """Words, one of which a finding must hold; for hashes left alone."""
    first_row: int = 0
    """The first row of the trail that is not what it was; for hashes that were mended."""

    def is_named(self, findings: list[str]) -> bool:
        """Tell whether a finding names the record, or a span of rows that holds the first one."""
        if self.told_by:
            return any(words.lower() in said.lower() for said in findings for words in self.told_by)
        spans = re.findall(r"rows? (\d+)(?: to (\d+))?", " ".join(findings), re.IGNORECASE)
        return any(int(a) <= self.first_row <= int(b or a) for a, b in spans)


@contextmanager
def guards_off(path: Path) -> Iterator[Connection]:
    """Open a SQLite ledger without its guards; put them back when the work is done."""
    engine = create_engine(f"sqlite:///{path}")
    event.listen(engine, "connect", lambda raw, _: raw.execute("PRAGMA foreign_keys=OFF"))
    with engine.begin() as connection:
        query = text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        guards = connection.execute(query).fetchall()
        for name, _ in guards:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        yield connection
        for _, sql in guards:
            connection.exec_driver_sql(sql)
    engine.dispose()


def forge(path: Path, way: str, rng: np.random.Generator) -> Forgery:
    """Forge a ledger in some way, at a place that is drawn."""
    with guards_off(path) as connection:
        return WAYS[way](connection, rng)


def _a_row(connection: Connection, rng: np.random.Generator) -> tuple[Table, dict[str, Any]]:
    """Draw a row of the records: a table first, so that small tables are not spared."""
    held = [name for name in TOLD if connection.execute(TOLD[name].__table__.select()).first()]
    table: Table = TOLD[held[rng.integers(len(held))]].__table__
    rows = connection.execute(table.select()).mappings().all()
    return table, dict(rows[rng.integers(len(rows))])


def _at(table: Table, row: dict[str, Any]) -> Any:
    return (table.c[column.name] == row[column.name] for column in table.primary_key)


def _other(value: Any) -> Any:
    """Give a value that is not the one there."""
    others: dict[type, Callable[[Any], Any]] = {
        bool: lambda known: not known,
        int: lambda known: known + 1_000_003,
        float: lambda known: known * 1.01 + 0.001,
        str: lambda known: f"{known[:-1]}{'x' if known[-1:] != 'x' else 'y'}",
        list: lambda known: [*known, "x"],
        dict: lambda known: {**known, "x": "y"},
    }
    return others[type(value)](value)


def _key(table: Table, row: dict[str, Any]) -> str:
    return key_of(TOLD[table.name], row)


def edit_a_record(connection: Connection, rng: np.random.Generator) -> Forgery:
    table, row = _a_row(connection, rng)
    keys = {column.name for column in table.primary_key}
    open_to = [name for name, value in row.items() if name not in keys and value is not None]
    name = open_to[rng.integers(len(open_to))]
    values = {name: _other(row[name])}
    connection.execute(table.update().where(*_at(table, row)).values(values))
    key = _key(table, row)
    if name == audit.HELD_BY_HASH:
        return Forgery("edit a record", (f"{table.name} {row['sha256']} was changed",))
    said = f"{key} is not what the trail tells: "
    return Forgery("edit a record", (f"{said}{name} differs",))


def spoil_a_record(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Write what is no JSON, no number and no word of ours."""
    table, row = _a_row(connection, rng)
    keys = {column.name for column in table.primary_key}
    open_to = [name for name in row if name not in keys | {audit.HELD_BY_HASH}]
    name = open_to[rng.integers(len(open_to))]
    where = " AND ".join(f"{column} = :{column}" for column in keys)
    spoil = text(f"UPDATE {table.name} SET {name} = '7{{' WHERE {where}")  # noqa: S608 - our names
    connection.execute(spoil, {column: row[column] for column in keys})
    return Forgery("spoil a record", (f"{_key(table, row)} is not what the trail tells: ",))


def spoil_the_trail(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Write what is no JSON and no hash into the trail."""
    row = _a_trail_row(connection, rng)
    name = ("at", "act", "before", "after", "previous", "sha256", "salt")[rng.integers(7)]
    nonsense = ("{", "[1]", "null")[rng.integers(3)]
    connection.execute(TRAIL.update().where(TRAIL.c.seq == row.seq).values({name: nonsense}))
    return Forgery("spoil the trail", (f"row {row.seq} was changed",))


def delete_a_record(connection: Connection, rng: np.random.Generator) -> Forgery:
    table, row = _a_row(connection, rng)
    connection.execute(table.delete().where(*_at(table, row)))
    said = f"{_key(table, row)} is in the trail, and gone from its table"
    return Forgery("delete a record", (said,))


def add_a_record(connection: Connection, rng: np.random.Generator) -> Forgery:
    table, row = _a_row(connection, rng)
    fresh = dict(row)
    for column in table.primary_key:
        known = row[column.name]
        fresh[column.name] = known + 1_000_000 if isinstance(known, int) else f"{known}x"
    together = [each for each in table.constraints if isinstance(each, UniqueConstraint)]
    unique = {list(each.columns)[-1].name for each in (*together, *_unique_indexes(table))}
    for name in unique - {column.name for column in table.primary_key}:
        fresh[name] = _other(fresh[name])
    connection.execute(table.insert().values(fresh))
    return Forgery("add a record", (f"{_key(table, fresh)} is not in the trail",))


def _unique_indexes(table: Table) -> list[Index]:
    return [index for index in table.indexes if index.unique]


def edit_the_trail(connection: Connection, rng: np.random.Generator) -> Forgery:
    row = _a_trail_row(connection, rng)
    name = ("at", "who", "act", "object", "after", "previous", "sha256")[rng.integers(7)]
    changed = f"{getattr(row, name)[:-1]}{'0' if getattr(row, name)[-1] != '0' else '1'}"
    if name == "after":
        changed = canonical_json(json.loads(row.after) | {"id": 7_000_000}).decode()
    connection.execute(TRAIL.update().where(TRAIL.c.seq == row.seq).values({name: changed}))
    return Forgery("edit the trail", (f"row {row.seq} was changed",))


def delete_from_the_trail(connection: Connection, rng: np.random.Generator) -> Forgery:
    seq = _a_trail_row(connection, rng, spare=1).seq
    connection.execute(TRAIL.delete().where(TRAIL.c.seq == seq))
    return Forgery("delete from the trail", (f"row {seq} is missing",))


def swap_in_the_trail(connection: Connection, rng: np.random.Generator) -> Forgery:
    rows = rows_of(connection)
    one, other = sorted(int(at) for at in rng.choice(len(rows), 2, replace=False))
    first, second = rows[one], rows[other]
    rows[one], rows[other] = replace(second, seq=first.seq), replace(first, seq=second.seq)
    store(connection, rows)
    return Forgery("swap in the trail", (f"row {one + 1} was changed",))


def edit_and_mend(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Change who, when or why in one row, and every hash from there on."""
    rows = rows_of(connection)
    at = int(rng.integers(len(rows)))
    name = ("who", "why", "salt")[rng.integers(3)]
    rows[at] = replace(rows[at], **{name: "ab" * 32})
    store(connection, mended(rows))
    return Forgery("edit the trail, hashes mended", first_row=at + 1)


def rewrite_a_record(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Change a record, the row that tells of it, and every hash from there on."""
    rows = rows_of(connection)
    last = {_key_told(row): row.seq for row in rows}
    seq = list(last.values())[rng.integers(len(last))]
    row = rows[seq - 1]
    table, since = ACTS[row.act].__table__, json.loads(row.after)
    keys = {column.name for column in table.primary_key}
    plain = [n for n, v in since.items() if n in table.c and n not in keys and type(v) is str]
    name = plain[rng.integers(len(plain))]
    values = {name: _other(since[name])}
    connection.execute(table.update().where(*_at(table, since)).values(values))
    rows[seq - 1] = replace(row, after=canonical_json(since | values).decode())
    store(connection, mended(rows))
    return Forgery("rewrite a record and its row, hashes mended", first_row=seq)


def cut(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Cut the end of the trail off, and put the records back to what the rest tells."""
    rows = rows_of(connection)
    left = int(rng.integers(1, len(rows)))
    told: dict[str, dict[str, Any]] = {}
    for row in rows[:left]:
        told[_key_told(row)] = json.loads(row.after)
    for row in reversed(rows[left:]):
        table, since = ACTS[row.act].__table__, json.loads(row.after)
        known = told.get(_key_told(row))
        if known is None:
            connection.execute(table.delete().where(*_at(table, since)))
        else:
            connection.execute(table.update().where(*_at(table, since)).values(known))
    store(connection, rows[:left])
    return Forgery("cut the end off, records put back", first_row=left + 1)


def rewrite_all(connection: Connection, rng: np.random.Generator) -> Forgery:
    """Write the whole trail anew with other salts."""
    rows = [replace(row, salt=rng.bytes(32).hex()) for row in rows_of(connection)]
    store(connection, mended(rows))
    return Forgery("rewrite the trail from its first row", ("rewritten from its first row",))


def _a_trail_row(connection: Connection, rng: np.random.Generator, spare: int = 0) -> AuditEntry:
    rows = rows_of(connection)
    return rows[rng.integers(len(rows) - spare)]


def _key_told(row: AuditEntry) -> str:
    return key_of(ACTS[row.act], json.loads(row.after))


CRUDE: dict[str, Callable[[Connection, np.random.Generator], Forgery]] = {
    "edit a record": edit_a_record,
    "spoil a record": spoil_a_record,
    "delete a record": delete_a_record,
    "add a record": add_a_record,
    "edit the trail": edit_the_trail,
    "spoil the trail": spoil_the_trail,
    "delete from the trail": delete_from_the_trail,
    "swap in the trail": swap_in_the_trail,
}
"""Ways that leave the hashes alone: found without any head from outside."""
MENDED: dict[str, Callable[[Connection, np.random.Generator], Forgery]] = {
    "edit the trail, hashes mended": edit_and_mend,
    "rewrite a record and its row, hashes mended": rewrite_a_record,
    "cut the end off, records put back": cut,
    "rewrite the trail from its first row": rewrite_all,
}
"""Ways that mend every hash: only a head from outside shows them."""
WAYS = CRUDE | MENDED
