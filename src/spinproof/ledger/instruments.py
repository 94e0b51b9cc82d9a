"""The instruments of the shop, their calibrations and the checks between them."""

from spinproof.ledger import rules
from spinproof.ledger import shop_tables as shop
from spinproof.ledger.keeping import KeepingBook
from spinproof.model.errors import RecordError
from spinproof.model.instrument import (
    Calibration,
    InstrumentRecord,
    InterimCheck,
    MeasuringRange,
)


class InstrumentRecords(KeepingBook):
    """Changes to instruments."""

    def add_instrument(self, instrument: InstrumentRecord) -> InstrumentRecord:
        """Record an instrument of the shop, with the calibrations that are known.

        Parameters
        ----------
        instrument : InstrumentRecord
            The instrument.

        Returns
        -------
        InstrumentRecord
            The instrument as recorded.

        Raises
        ------
        RecordError
            If the shop has an instrument of this name already.
        """
        if self._session.get(shop.InstrumentRow, instrument.id) is not None:
            raise RecordError(
                "the shop has an instrument of this name",
                where=f"instrument {instrument.id}",
                mend="Add the calibration to the one that is there, or give a new name.",
            )
        row = shop.InstrumentRow(
            name=instrument.id,
            kind=instrument.kind.value,
            words=rules.plain_text(instrument.words, "description"),
            ranges=[each.to_document() for each in instrument.ranges],
            who=self._who,
            at=self._at,
        )
        self._add(row, "instrument.add", f"instrument {instrument.id}")
        for calibration in instrument.calibrations:
            self._add_event(instrument.id, calibration)
        for check in instrument.checks:
            self._add_event(instrument.id, check)
        return self.instrument(instrument.id)

    def add_calibration(
        self, instrument: str, event: Calibration | InterimCheck
    ) -> InstrumentRecord:
        """Record a calibration, or a comparison between two calibrations.

        Found out of tolerance, it puts every measurement since the last good check in doubt, in
        every job.

        Parameters
        ----------
        instrument : str
            The shop's mark on it.
        event : Calibration or InterimCheck
            What was found.

        Returns
        -------
        InstrumentRecord
            The instrument with its history.

        Raises
        ------
        RecordError
            If it lies in the future, or a calibration of that day is on record already.
        """
        known = self.instrument(instrument)
        if event.at.isoformat() > self._at[:10]:
            raise RecordError(
                f"{event.at} lies in the future",
                where=f"instrument {instrument}",
                mend="Check the date.",
            )
        if isinstance(event, Calibration) and any(c.at == event.at for c in known.calibrations):
            raise RecordError(
                f"a calibration of {event.at} is on record already",
                where=f"instrument {instrument}",
                mend="One a day: check the date on the certificate.",
            )
        self._add_event(instrument, event)
        return self.instrument(instrument)

    def add_range(self, instrument: str, span: MeasuringRange) -> InstrumentRecord:
        """Record a further range of an instrument; what was read outside stays an indication.

        Parameters
        ----------
        instrument : str
            The shop's mark on it.
        span : MeasuringRange
            The range.

        Returns
        -------
        InstrumentRecord
            The instrument with all its ranges.

        Raises
        ------
        RecordError
            If a range with the same ends is on record already.
        """
        ends = (span.unit, span.low, span.high)
        if any((r.unit, r.low, r.high) == ends for r in self.instrument(instrument).ranges):
            raise RecordError(
                f"a range from {span.low:g} to {span.high:g} {span.unit} is on record already",
                where=f"instrument {instrument}",
                mend="What a range promises is not changed: record the instrument under a new mark "
                "when its uncertainty is another.",
            )
        self._add_event(instrument, span)
        return self.instrument(instrument)

    def _add_event(
        self, instrument: str, event: Calibration | InterimCheck | MeasuringRange
    ) -> None:
        kinds = {Calibration: "calibration", InterimCheck: "check", MeasuringRange: "range"}
        row = shop.InstrumentEvent(
            instrument=instrument,
            kind=kinds[type(event)],
            content=event.to_document(),
            who=self._who,
            at=self._at,
        )
        self._add(row, "instrument.event", f"instrument {instrument}")
