"""Calculations at the bench, kept with the job."""

from spinproof.ledger import shop_tables as shop
from spinproof.ledger.book import Book
from spinproof.ledger.shop_entries import CalculationEntry
from spinproof.model.calculation import Calculation
from spinproof.model.errors import RecordError


class CalculationRecords(Book):
    """Adding calculations; they are never changed, only made anew."""

    def keep_calculation(
        self, content: Calculation, *, job: str, unit: str | None = None
    ) -> CalculationEntry:
        """Keep a calculation with a job.

        Parameters
        ----------
        content : Calculation
            Inputs as typed, results, formula and source.
        job : str
            The job.
        unit : str, optional
            The head, shared module or spare part that it is about.

        Returns
        -------
        CalculationEntry
            The calculation as recorded.

        Raises
        ------
        RecordError
            If there is no such job, or the unit belongs to another.
        """
        self.job(job)
        if unit is not None and (own := self.unit(unit).job) != job:
            raise RecordError(
                f"{unit} belongs to job {own}", where=f"job {job}", mend="Name its own job."
            )
        row = shop.CalculationRow(
            job=job,
            unit=unit,
            calculator=content.calculator,
            content=content.to_document(),
            who=self._who,
            at=self._at,
        )
        self._add(row, "calculation.keep", f"unit {unit}" if unit else f"job {job}")
        return self.calculation(row.id)
