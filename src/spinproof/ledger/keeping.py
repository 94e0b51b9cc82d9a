"""Changing the records of the shop floor so that every rule is kept, or nothing is stored."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from spinproof.ledger import rules, tables
from spinproof.ledger.book import Book
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.book import breaches, require_kept
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.job import Process


class KeepingBook(Book):
    """A view of the ledger that changes the shop floor's records."""

    def __init__(
        self, session: Session, *, who: str, at: str, draw_salt: Callable[[], bytes]
    ) -> None:
        super().__init__(session, who=who, at=at, draw_salt=draw_salt)
        self._files: dict[str, HeadFile] = {}
        self._files_as_of: str | None = None
        """Hash of the last row of the trail when they were put together."""

    @contextmanager
    def _keeping(self, unit: str | None, job: str | None = None) -> Iterator[None]:
        """Change records of a unit, or of a whole job; a change that breaks a rule is taken back.

        What was broken before, by records of another time or place, stands in nobody's way.
        """
        touched = self._touched_by(unit) if unit else self._touched_in(job) if job else ()
        before = {each: breaches(self._file(each)) for each in touched}
        with self._session.begin_nested():
            yield
            self._session.flush()
            for each in touched:
                require_kept(self._file(each), before[each])

    def _file(self, unit: str) -> HeadFile:
        """Give the file of a unit as it is now; it is put together anew after each change."""
        written = self._session.scalar(
            select(tables.Audit.sha256).order_by(tables.Audit.seq.desc()).limit(1)
        )
        if self._files_as_of != written:
            self._files.clear()
            self._files_as_of = written
        if unit not in self._files:
            self._files[unit] = self.head_file(unit, date.fromisoformat(self._at[:10]))
        return self._files[unit]

    def _touched_by(self, unit: str) -> tuple[str, ...]:
        """Give the unit, or the heads that rest on it when it is shared."""
        own = self.unit(unit)
        if self.terms(own.job).process is not Process.FULL:
            return ()
        if own.kind is not UnitKind.SHARED_MODULE:
            return (unit,)
        heads = [
            u.designation
            for u in self.units(own.job)
            if u.machine == own.machine and u.kind is UnitKind.HEAD and u.in_scope
        ]
        return tuple(heads) or (unit,)

    def _touched_in(self, job: str) -> tuple[str, ...]:
        if self.terms(job).process is not Process.FULL:
            return ()
        units = self.units(job)
        heads = [u for u in units if u.in_scope and u.kind is UnitKind.HEAD]
        return tuple(u.designation for u in heads or units[:1])

    def _moment(self, done_at: datetime | None, job: str | None) -> str:
        """Give when something was done, as claimed: not in the future, not before the job.

        Raises
        ------
        RecordError
            If it is.
        """
        if done_at is None:
            return self._at
        instant = rules.utc_text(done_at)
        if instant > self._at:
            raise RecordError(
                f"{instant} lies in the future",
                where="time of the record",
                mend=f"It is {self._at} now; give the time at which it was done.",
            )
        if job is not None and instant < (opened := self.job(job).opened_at):
            raise RecordError(
                f"{instant} lies before the job was taken in ({opened})",
                where="time of the record",
                mend="Check the date.",
            )
        return instant

    def _require_full(self, job: str) -> None:
        if self.terms(job).process is not Process.FULL:
            raise GateClosedError(
                "the job was taken in for burn-in only: its parts, checks and gates are not kept",
                where=f"job {job}",
                mend='Take jobs in with process = "full" to keep them.',
            )

    def _require_evidence(self, job: str, evidence: tuple[str, ...]) -> None:
        for sha256 in evidence:
            row = self._session.get(tables.Evidence, sha256)
            if row is None or row.job != job:
                raise RecordError(
                    "the job holds no such evidence",
                    where=f"evidence {sha256} of job {job}",
                    mend="Add the file as evidence of the job first.",
                )
