"""What people do with instruments: add one, and record what a calibration or a check found."""

from datetime import date

from spinproof.app.clock import utc_now
from spinproof.app.instrument_views import (
    InstrumentLine,
    InstrumentView,
    instrument_lines,
    instrument_view,
)
from spinproof.ledger.ledger import Ledger
from spinproof.model.instrument import (
    Calibration,
    InstrumentRecord,
    InterimCheck,
    MeasuringRange,
)


class InstrumentDesk:
    """Shows and records instruments.

    Parameters
    ----------
    ledger : Ledger
        Where they are recorded.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def lines(self, today: date) -> tuple[InstrumentLine, ...]:
        """Show all instruments."""
        with self._ledger.reading() as records:
            return instrument_lines(records, today)

    def view(self, name: str, today: date) -> InstrumentView:
        """Show one instrument."""
        with self._ledger.reading() as records:
            return instrument_view(records, name, today)

    def add(self, record: InstrumentRecord, by: str) -> None:
        """Record an instrument."""
        with self._ledger.transaction(by, utc_now()) as records:
            records.add_instrument(record)

    def add_event(self, name: str, event: Calibration | InterimCheck, by: str) -> None:
        """Record a calibration, or a comparison between two calibrations."""
        with self._ledger.transaction(by, utc_now()) as records:
            records.add_calibration(name, event)

    def add_range(self, name: str, span: MeasuringRange, by: str) -> None:
        """Record a further range of an instrument."""
        with self._ledger.transaction(by, utc_now()) as records:
            records.add_range(name, span)
