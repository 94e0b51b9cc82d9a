"""Instruments of the shop: what they measure, their calibration, and what a reading is worth."""

import math
from datetime import date
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.errors import UnitError
from spinproof.model.noun import Name, NotNegative, Noun
from spinproof.model.quantity import UNITS, Dimension, Quantity, UnitSymbol, units_of


class InstrumentKind(StrEnum):
    """What an instrument is; checks name the kinds that may answer them."""

    ACCELEROMETER = "accelerometer"
    ACOUSTIC_FREQUENCY = "acoustic frequency meter"
    BALANCE = "balance"
    BALANCING = "balancing instrument"
    CALIBRATOR = "pressure calibrator"
    CAMERA = "camera"
    CASSETTE_GAUGE = "cassette gauge"
    CHARGED_PLATE = "charged-plate monitor"
    COUNTING = "counting by eye"
    DATA_LOGGER = "data logger"
    DEW_POINT = "dew-point meter"
    DIAL_GAUGE = "dial gauge"
    ENCODER = "encoder"
    FEELER_GAUGE = "feeler gauge"
    FLOWMETER = "flowmeter"
    GRADUATED_CUP = "graduated cup"
    INSULATION_TESTER = "insulation tester"
    LAMP = "inspection lamp"
    LOW_OHM_METER = "low-ohm meter"
    MACHINE_DISPLAY = "the machine's own display"
    """Never the sole evidence of speed, pressure, temperature or resistivity."""
    MASS_FLOW_METER = "mass-flow meter"
    MULTIMETER = "multimeter"
    OPTICAL_TACH = "optical tach"
    OSCILLOSCOPE = "oscilloscope"
    OXYGEN_MONITOR = "oxygen monitor"
    PRESSURE_GAUGE = "pressure gauge"
    PRESSURE_TRANSDUCER = "pressure transducer"
    PROTRACTOR = "protractor"
    RESISTANCE_METER = "resistance meter"
    RESISTIVITY_CELL = "resistivity cell"
    ROTAMETER = "rotameter"
    ROUGHNESS_TESTER = "roughness tester"
    SOUND_METER = "sound-level meter"
    SPRING_SCALE = "spring scale"
    STATIC_FIELD_METER = "static-field meter"
    STOPWATCH = "stopwatch"
    THERMAL_IMAGER = "thermal imager"
    THERMOCOUPLE = "thermocouple"
    TORQUE_WRENCH = "torque wrench"

    @property
    def needs_calibration(self) -> bool:
        """Whether its readings rest on a calibration; what only shows or counts needs none."""
        return self not in {
            InstrumentKind.CAMERA,
            InstrumentKind.COUNTING,
            InstrumentKind.LAMP,
            InstrumentKind.MACHINE_DISPLAY,
        }


class Tolerance(StrEnum):
    """What was found when an instrument was compared with a better one."""

    IN = "in tolerance"
    OUT = "out of tolerance"
    NOT_STATED = "not stated"
    """For a new instrument, or a certificate that does not say."""


class MeasuringRange(Noun):
    """One range of an instrument, from low to high."""

    unit: UnitSymbol
    low: float
    high: float
    resolution: NotNegative
    """Smallest step of the indication. [unit]"""
    standard_uncertainty: NotNegative
    """Standard uncertainty of a reading. [unit]"""
    relative_uncertainty: NotNegative = 0.0
    """Standard uncertainty in proportion to the reading, added in quadrature."""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.high <= self.low:
            msg = f"high ({self.high:g}) must lie above low ({self.low:g})"
            raise ValueError(msg)
        return self


class Calibration(Noun):
    """One calibration, with what it found before and left behind."""

    at: date
    due: date
    """Last day on which readings are covered."""
    certificate: Name
    laboratory: Name | None = None
    as_found: Tolerance = Tolerance.NOT_STATED
    """Before any adjustment."""
    as_left: Tolerance = Tolerance.IN

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.due <= self.at:
            msg = f"due ({self.due}) must lie after the calibration ({self.at})"
            raise ValueError(msg)
        return self


class InterimCheck(Noun):
    """A comparison with a check standard between two calibrations."""

    at: date
    found: Tolerance
    note: Annotated[str, Field(max_length=300)] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.found is Tolerance.NOT_STATED:
            msg = "found must say in tolerance or out of tolerance"
            raise ValueError(msg)
        return self


class InstrumentRecord(Noun):
    """An instrument of the shop, with its history of calibrations and checks."""

    id: Name
    """The shop's own mark on it, for example OT-3."""
    kind: InstrumentKind
    words: Name
    """What it is in words, without maker or model."""
    ranges: Annotated[tuple[MeasuringRange, ...], Field(strict=False)] = ()
    """Empty for what only shows, such as a lamp."""
    calibrations: Annotated[tuple[Calibration, ...], Field(strict=False)] = ()
    checks: Annotated[tuple[InterimCheck, ...], Field(strict=False)] = ()

    @model_validator(mode="after")
    def _calibrations_are_in_order(self) -> Self:
        days = [calibration.at for calibration in self.calibrations]
        if days != sorted(set(days)):
            msg = "calibrations stand in the order of their dates, one a day"
            raise ValueError(msg)
        return self


class Standing(StrEnum):
    """What a reading of an instrument is worth on a day."""

    VALID = "valid"
    EXPIRED = "indication only: calibration expired"
    NOT_CALIBRATED = "indication only: not calibrated"
    OUT_OF_TOLERANCE = "indication only: found out of tolerance"
    OUT_OF_RANGE = "indication only: outside its range"
    OWN_DISPLAY = "indication only: the machine's own display"

    @property
    def supports_a_verdict(self) -> bool:
        """Whether a pass may rest on the reading."""
        return self is Standing.VALID


def standing_on(
    instrument: InstrumentRecord, on: date, reading: Quantity | None = None
) -> Standing:
    """Say what a reading is worth on a day.

    Parameters
    ----------
    instrument : InstrumentRecord
        What measured.
    on : date
        The day of the measurement.
    reading : Quantity or None
        What it read; without one, only the calibration is looked at.

    Returns
    -------
    Standing
        Valid, or why the reading is an indication only.

    Raises
    ------
    UnitError
        If the instrument does not measure the reading's dimension at all.
    """
    if instrument.kind is InstrumentKind.MACHINE_DISPLAY:
        return Standing.OWN_DISPLAY
    in_range = reading is None or range_for(instrument, reading) is not None
    if instrument.kind.needs_calibration:
        held = calibration_on(instrument, on)
        if held is None:
            return Standing.NOT_CALIBRATED
        if on > held.due:
            return Standing.EXPIRED
        if held.as_left is Tolerance.OUT or _failed_since(instrument, held.at, on):
            return Standing.OUT_OF_TOLERANCE
    return Standing.VALID if in_range else Standing.OUT_OF_RANGE


def calibration_on(instrument: InstrumentRecord, on: date) -> Calibration | None:
    """Give the latest calibration made up to a day, or None before the first."""
    made = [calibration for calibration in instrument.calibrations if calibration.at <= on]
    return made[-1] if made else None


def range_for(instrument: InstrumentRecord, reading: Quantity) -> MeasuringRange | None:
    """Give the range that holds a reading, the finest one first.

    Parameters
    ----------
    instrument : InstrumentRecord
        What measured.
    reading : Quantity
        What it read, in any unit of the dimension.

    Returns
    -------
    MeasuringRange or None
        None when the reading lies outside all ranges.

    Raises
    ------
    UnitError
        If the instrument does not measure the reading's dimension at all.
    """
    ranges = _ranges_of(instrument, reading.dimension)
    holding = [r for r in ranges if r.low <= reading.to(r.unit).value <= r.high]
    return min(holding, key=lambda r: r.resolution * UNITS[r.unit].factor, default=None)


def standard_uncertainty(instrument: InstrumentRecord, reading: Quantity) -> Quantity | None:
    """Give the standard uncertainty of a reading, in the reading's unit.

    Parameters
    ----------
    instrument : InstrumentRecord
        What measured.
    reading : Quantity
        What it read.

    Returns
    -------
    Quantity or None
        Absolute and relative part in quadrature; None outside all ranges.

    Raises
    ------
    UnitError
        If the instrument does not measure the reading's dimension at all.
    """
    held = range_for(instrument, reading)
    if held is None:
        return None
    relative = held.relative_uncertainty * reading.to(held.unit).value
    combined = math.hypot(held.standard_uncertainty, relative)
    factor = UNITS[held.unit].factor / UNITS[reading.unit].factor
    return Quantity(value=combined * factor, unit=reading.unit)


class SuspectWindow(Noun):
    """Days whose readings are in doubt, for the instrument was later found out of tolerance."""

    instrument: Name
    since: date | None
    """Day of the last good check, itself included; absent when there never was one."""
    until: date
    """Day on which the fault was found, itself included."""
    found_by: Name
    """The certificate or the interim check that found it."""

    def covers(self, on: date) -> bool:
        """Tell whether a reading of a day is in doubt."""
        return (self.since is None or self.since <= on) and on <= self.until


def suspect_windows(instrument: InstrumentRecord) -> tuple[SuspectWindow, ...]:
    """Give every span of days whose readings are in doubt (ISO 9001:2015, 7.1.5.2).

    Never raises.

    Parameters
    ----------
    instrument : InstrumentRecord
        The instrument with its history.

    Returns
    -------
    tuple of SuspectWindow
        One for each time it was found out of tolerance, from its last good check on, both
        days included: nobody can say at what hour of the day it went wrong.
    """
    windows, last_good = [], None
    for on, found, left, by in _history(instrument):
        if found is Tolerance.OUT:
            windows.append(
                SuspectWindow(instrument=instrument.id, since=last_good, until=on, found_by=by)
            )
        if left is Tolerance.IN:
            last_good = on
    return tuple(windows)


def _history(
    instrument: InstrumentRecord,
) -> list[tuple[date, Tolerance, Tolerance, str]]:
    """Calibrations and interim checks by day: as found, as left, and what says so."""
    events = [(c.at, c.found, c.found, f"check of {c.at}") for c in instrument.checks]
    events += [
        (c.at, c.as_found, c.as_left, f"certificate {c.certificate}")
        for c in instrument.calibrations
    ]
    return sorted(events, key=lambda event: event[0])


def _failed_since(instrument: InstrumentRecord, calibrated: date, on: date) -> bool:
    """Whether an interim check failed after the calibration: only a new one clears it.

    A check of the calibration's own day is what led to it.
    """
    return any(
        check.found is Tolerance.OUT and calibrated < check.at <= on for check in instrument.checks
    )


def _ranges_of(instrument: InstrumentRecord, dimension: Dimension) -> list[MeasuringRange]:
    ranges = [r for r in instrument.ranges if UNITS[r.unit].dimension is dimension]
    if not ranges:
        measured = sorted({UNITS[r.unit].dimension.value for r in instrument.ranges})
        raise UnitError(
            f"the instrument measures {' and '.join(measured) or 'nothing'}, not {dimension}",
            where=f"instrument {instrument.id}",
            mend=f"Name the instrument that read in {' or '.join(units_of(dimension))}.",
        )
    return ranges
