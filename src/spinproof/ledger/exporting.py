"""The ledger as text: one line a row of the audit trail, and the documents that it holds by hash.

Replaying the trail gives the tables, so nothing else is written. A row that is withheld ships as
its leaf alone: whoever holds the text can still compute the root of the whole trail, and cannot
guess the row.
"""

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Table, select
from sqlalchemy.orm import Session

from spinproof.files.canonical import canonical_json
from spinproof.ledger import audit, tables
from spinproof.ledger.acts import ACTS, table_of
from spinproof.ledger.verification import tables_with_text

Key = tuple[str, str]
"""Table and primary key of a row."""


def lines_of(
    session: Session, withheld: Collection[int] = (), *, salts_of_withheld: bool = False
) -> Iterator[bytes]:
    """Write the audit trail as canonical JSON, one line a row.

    Parameters
    ----------
    session : Session
        Session to read in.
    withheld : collection of int
        Numbers of the rows that ship as their leaf alone.
    salts_of_withheld : bool
        Whether their salts ship too: with its salt, a guessed row can be confirmed.

    Yields
    ------
    bytes
        Line after line, each with its end.
    """
    for row in audit.entries(session):
        if row.seq not in withheld:
            document: dict[str, object] = {"leaf": row.sha256, **vars(row)}
            del document["sha256"]
        else:
            document = {"leaf": row.sha256, "seq": row.seq}
            if salts_of_withheld:
                document["salt"] = row.salt
        yield canonical_json(document) + b"\n"


def texts_of(session: Session, withheld: Collection[int] = ()) -> Iterator[tuple[str, str]]:
    """Give the documents that rows hold by their hash.

    Parameters
    ----------
    session : Session
        Session to read in.
    withheld : collection of int
        Numbers of the rows whose documents stay here.

    Yields
    ------
    tuple of str
        SHA-256 and canonical JSON, each document once.
    """
    told = _texts_told(session, withheld)
    for table in tables_with_text():
        query = select(table.sha256, table.canonical).execution_options(yield_per=100)
        with session.execute(query) as result:
            for sha256, text in result:
                if sha256 in told:
                    told.discard(sha256)
                    yield sha256, text


def _texts_told(session: Session, withheld: Collection[int]) -> set[str]:
    carriers = set(tables_with_text())
    return {
        json.loads(row.after)["sha256"]
        for row in audit.entries(session)
        if row.seq not in withheld and ACTS.get(row.act) in carriers
    }


@dataclass
class _Thing:
    """A row of a table: which rows of the trail tell of it, and what it refers to."""

    seqs: set[int] = field(default_factory=set)
    needs: set[Key] = field(default_factory=set)
    job: str | None = None


def rows_of_other_jobs(session: Session, job: str) -> frozenset[int]:
    """Name the rows of the trail that neither belong to a job nor are needed to read its rows.

    Parameters
    ----------
    session : Session
        Session to read in.
    job : str
        Name of the job.

    Returns
    -------
    frozenset of int
        Numbers of the rows; what is noted of the trail itself is never among them.
    """
    things = _things(session)
    log = {tables.Anchor.__tablename__, tables.Restoration.__tablename__}
    kept: set[Key] = set()
    wanted = [key for key, thing in things.items() if thing.job == job or key[0] in log]
    while wanted:
        key = wanted.pop()
        if key not in kept:
            kept.add(key)
            wanted.extend(things[key].needs)
    kept |= {  # for example the calibrations of an instrument that was used
        key
        for key, thing in things.items()
        if thing.job is None and thing.needs and thing.needs <= kept
    }
    every = frozenset[int]().union(*(thing.seqs for thing in things.values()))
    return every.difference(*(things[key].seqs for key in kept))


def _things(session: Session) -> dict[Key, _Thing]:
    things: dict[Key, _Thing] = {}
    for row in audit.entries(session):
        table, since = table_of(row.act), json.loads(row.after)
        key = (table.name, _values(since, table.primary_key.columns))
        thing = things.setdefault(key, _Thing())
        thing.seqs.add(row.seq)
        thing.needs.update(_references(table, since))
        own = since["name"] if table is tables.Job.__table__ else since.get("job")
        thing.job = own or next((things[k].job for k in thing.needs if things[k].job), None)
    return things


def _values(since: dict[str, Any], columns: Iterable[ColumnElement[Any]]) -> str:
    return " ".join(str(since.get(str(column.key))) for column in columns)


def _references(table: Table, since: dict[str, Any]) -> Iterator[Key]:
    for constraint in table.foreign_key_constraints:
        columns = constraint.columns
        if all(since.get(column.name) is not None for column in columns):
            yield constraint.referred_table.name, _values(since, columns)
