"""Instruments as pages show them: what a reading is worth today, and what is suspect."""

from dataclasses import dataclass
from datetime import date

from spinproof.ledger.answers import day_of
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.shop_entries import MeasurementEntry
from spinproof.model.instrument import (
    Calibration,
    InstrumentRecord,
    MeasuringRange,
    Standing,
    SuspectWindow,
    calibration_on,
    standing_on,
    suspect_windows,
)


@dataclass(frozen=True)
class SuspectReading:
    """An answer that rests on an instrument that was later found out of tolerance."""

    unit: str
    check: str
    reading: str
    done_at: str
    who: str
    window: SuspectWindow


@dataclass(frozen=True)
class InstrumentLine:
    """An instrument, and what its readings are worth today."""

    record: InstrumentRecord
    standing: Standing
    held: Calibration | None
    """The calibration that covers today, or the last one that did."""

    @property
    def rests_on_calibration(self) -> bool:
        """Whether its kind is calibrated at all."""
        return self.record.kind.needs_calibration


@dataclass(frozen=True)
class InstrumentView:
    """An instrument with its history, and the answers that became suspect."""

    line: InstrumentLine
    windows: tuple[SuspectWindow, ...]
    suspect: tuple[SuspectReading, ...]
    """Answers in force, in every job."""
    used: int
    """How many answers in force rest on it."""


def instrument_lines(records: HeadReading, today: date) -> tuple[InstrumentLine, ...]:
    """Give the instruments; those whose readings support no verdict come first."""
    lines = [instrument_line(record, today) for record in records.instruments()]
    return tuple(sorted(lines, key=lambda line: line.standing.supports_a_verdict))


def instrument_line(record: InstrumentRecord, today: date) -> InstrumentLine:
    """Give what an instrument is worth on a day."""
    return InstrumentLine(record, standing_on(record, today), calibration_on(record, today))


def instrument_view(records: HeadReading, name: str, today: date) -> InstrumentView:
    """Give an instrument with its history.

    Raises
    ------
    RecordError
        If the shop has none of this name.
    """
    record = records.instrument(name)
    windows = suspect_windows(record)
    answers = _in_force(records, name)
    return InstrumentView(
        line=instrument_line(record, today),
        windows=windows,
        suspect=tuple(
            SuspectReading(m.unit, m.check, m.reading, m.done_at, m.who, found)
            for m in answers
            if (found := _covering(windows, m)) is not None
        ),
        used=len(answers),
    )


def _covering(windows: tuple[SuspectWindow, ...], answer: MeasurementEntry) -> SuspectWindow | None:
    on = day_of(answer.done_at)
    return next((window for window in windows if window.covers(on)), None)


def _in_force(records: HeadReading, name: str) -> list[MeasurementEntry]:
    """Give the answers by an instrument that no later answer to the same reading replaced."""
    used = records.measured_with(name)
    latest = {
        (m.unit, m.check, m.reading): m.id
        for unit in {m.unit for m in used}
        for m in records.measurements(unit)
    }
    return [m for m in used if latest[m.unit, m.check, m.reading] == m.id]


def range_words(each: MeasuringRange) -> str:
    """Say a range with its unit, step and standard uncertainty.

    Examples
    --------
    >>> from spinproof.model.instrument import MeasuringRange
    >>> range_words(MeasuringRange(unit="Ohm", low=0.0, high=10.0, resolution=0.001,
    ...                            standard_uncertainty=0.004))
    '0 to 10 Ohm in steps of 0.001 Ohm; standard uncertainty 0.004 Ohm'
    """
    share = f" and {100 * each.relative_uncertainty:g} %" if each.relative_uncertainty else ""
    return (
        f"{each.low:g} to {each.high:g} {each.unit} in steps of {each.resolution:g} {each.unit}; "
        f"standard uncertainty {each.standard_uncertainty:g} {each.unit}{share}"
    )
