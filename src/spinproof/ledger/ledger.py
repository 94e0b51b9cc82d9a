"""The ledger: opening it, and its transactions."""

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from spinproof.ledger import backup, condition, database, rules, upgrade
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.records import Records
from spinproof.ledger.turns import Turns
from spinproof.model.errors import RecordError


def fresh_salt() -> bytes:
    """Draw the salt of one row of the audit trail: 32 bytes that nobody can guess."""
    return secrets.token_bytes(32)


class Ledger:
    """An open ledger. Threads may share it; writers take turns."""

    def __init__(self, engine: Engine, draw_salt: Callable[[], bytes]) -> None:
        self._engine = engine
        self._draw_salt = draw_salt
        self._turn = Turns()  # in the database alone, waiting threads poll unfairly

    @contextmanager
    def transaction(self, who: str, at: datetime) -> Iterator[Records]:
        """Change the records: everything inside is stored together, or nothing is.

        Parameters
        ----------
        who : str
            The person or program that makes the change.
        at : datetime
            When, with an offset from UTC.

        Yields
        ------
        Records
            Questions and changes.

        Raises
        ------
        RecordError
            If nobody is named, or a person signs as the judge.
        """
        name, instant = rules.plain_text(who, "name"), rules.utc_text(at)
        if name.casefold() == rules.JUDGE:
            raise RecordError(
                f'"{rules.JUDGE}" stands for the software, and signs nothing',
                where=f"name {who}",
                mend="Name the person, or the program that runs.",
            )
        with (
            self._turn,
            database.database_errors(self._engine),
            Session(database.writer(self._engine)) as session,
            session.begin(),
        ):
            yield Records(session, who=name, at=instant, draw_salt=self._draw_salt)

    @contextmanager
    def reading(self) -> Iterator[HeadReading]:
        """Read the records: everything inside sees one state.

        Yields
        ------
        HeadReading
            Questions.
        """
        with (
            database.database_errors(self._engine),
            Session(database.reader(self._engine)) as session,
            session.begin(),
        ):
            yield HeadReading(session)

    def save_copy(self, target: Path, at: datetime) -> None:
        """Copy the whole ledger into one file, while it is in use.

        Parameters
        ----------
        target : Path
            The file; it appears when it is whole.
        at : datetime
            The present instant, with an offset from UTC.
        """
        with database.database_errors(self._engine):
            backup.save_copy(self._engine, target, rules.utc_text(at))

    def faults(self) -> tuple[str, ...]:
        """Say what is wrong with the database itself: its settings, its guards, its pages."""
        with database.database_errors(self._engine):
            return condition.faults_of(self._engine)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()


def open_ledger(
    url: str,
    *,
    at: datetime,
    patience_s: float = 30.0,
    draw_salt: Callable[[], bytes] = fresh_salt,
) -> Ledger:
    """Open a ledger; an empty database gets its tables, an older one is upgraded.

    A SQLite file is copied beside itself before it is upgraded.

    Parameters
    ----------
    url : str
        ``sqlite:////folder/ledger.db`` or ``postgresql://user@host/database``.
    at : datetime
        The present instant, with an offset from UTC; it names the copy.
    patience_s : float
        How long a writer waits for its turn. [s]
    draw_salt : callable
        Draws the 32-byte salt of each row of the audit trail.

    Returns
    -------
    Ledger
        The ledger. Close it when done.
    """
    engine = database.connect(url, patience_s)
    try:
        with database.database_errors(engine):
            upgrade.bring_up_to_date(engine, rules.utc_text(at))
    except BaseException:
        engine.dispose()
        raise
    return Ledger(engine, draw_salt)
