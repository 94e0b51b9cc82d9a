"""Vibration recordings: what a full scale means, and how severe the vibration was."""

from datetime import date
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun, Positive


class VibrationCalibration(Noun):
    """What a recording of an accelerometer means: written by people from its certificate.

    The full scale is stated itself, or by sensitivity and the voltage of the full scale.
    """

    instrument: Name
    """Shop identity of the accelerometer with its converter, for example VA-1."""
    full_scale_ms2: Positive | None = None
    """Acceleration of the converter's full scale. [m/s2]"""
    ms2_per_volt: Positive | None = None
    """Acceleration of one volt. [m/s2/V]"""
    full_scale_volt: Positive | None = None
    """Voltage of the converter's full scale. [V]"""
    relative_uncertainty: Annotated[float, Field(gt=0, lt=1)]
    """Standard uncertainty of the full scale in proportion to it, from 10 to 1000 Hz."""
    calibration_due: date
    """Date on which the calibration ends."""

    @model_validator(mode="after")
    def _states_the_scale_once(self) -> Self:
        volts = (self.ms2_per_volt is not None, self.full_scale_volt is not None)
        if (self.full_scale_ms2 is not None, *volts) not in {
            (True, False, False),
            (False, True, True),
        }:
            msg = "give full_scale_ms2 alone, or ms2_per_volt with full_scale_volt"
            raise ValueError(msg)
        return self

    @property
    def full_scale(self) -> float:
        """Acceleration of the full scale, in m/s2."""
        return self.full_scale_ms2 or (self.ms2_per_volt or 0.0) * (self.full_scale_volt or 0.0)


class SeverityOfSecond(Noun):
    """One second of a recording."""

    start_s: NotNegative
    """Where it begins. [s]"""
    velocity_mm_s: NotNegative
    """Root mean square velocity in the band. [mm/s]"""
    crest_factor: Positive | None
    """Peak over root mean square of the acceleration; absent where nothing moves."""
    kurtosis: Positive | None
    """Kurtosis of the acceleration; absent where nothing moves."""
    clipped_share: Annotated[float, Field(ge=0, le=1)]
    """Share of samples at an end of the range."""
    speed_rpm: Positive | None = None
    """Mean speed by the tach; absent without one, or where its pulses do not tell. [rpm]"""
    once_per_turn_mm_s: NotNegative | None = None
    """Root mean square velocity at that speed, in the band or below it. [mm/s]"""


class SeverityReport(Noun):
    """How severe the vibration of a recording was."""

    recording: str
    """Name of the file."""
    sha256: str
    """Sum of its bytes."""
    channel: Annotated[int, Field(ge=1)]
    """Channel of the file, from 1."""
    rate_hz: Positive
    """Samples a second. [Hz]"""
    lowest_hz: Positive
    """Lower end of the band. [Hz]"""
    highest_hz: Positive
    """Upper end of the band. [Hz]"""
    calibration: VibrationCalibration
    """What the full scale means."""
    overdue: bool
    """Whether the calibration had ended when this was worked out: an indication only."""
    velocity_mm_s: NotNegative
    """Root mean square velocity in the band over all whole seconds. [mm/s]"""
    standard_uncertainty_mm_s: NotNegative
    """By calibration, method and resolution. [mm/s]"""
    crest_factor: Positive | None
    """Peak over root mean square of the acceleration; absent where nothing moves."""
    kurtosis: Positive | None
    """Kurtosis of the acceleration; absent where nothing moves."""
    clipped_share: Annotated[float, Field(ge=0, le=1)]
    """Share of samples at an end of the range."""
    believed: bool
    """Whether less than a thousandth of the samples is clipped."""
    once_per_turn_mm_s: NotNegative | None = None
    """The same at the speed of the shaft, over the seconds in which the tach tells it. [mm/s]"""
    left_out_s: NotNegative
    """End of the recording that fills no whole second. [s]"""
    seconds: tuple[SeverityOfSecond, ...]
    """Second by second."""
