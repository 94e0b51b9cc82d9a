"""Channels: what is measured, where a source keeps it, and by which instrument."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun, Positive


class CountType(StrEnum):
    """How a reading is stored, in registers and in the sealed file."""

    U16 = "u16"
    I16 = "i16"
    U32 = "u32"
    I32 = "i32"
    F32 = "f32"
    F64 = "f64"
    """For imported traces only."""


class Role(StrEnum):
    """What a channel means to the judge. A map need not fill every role."""

    TACH_COUNT = "tach-count"
    """Rolling count of pulses of the head's own tach."""
    TACH_EDGE = "tach-edge"
    """Device time of the last pulse of the head's own tach, in microseconds, rolling."""
    OPTICAL_COUNT = "optical-count"
    """Rolling count of pulses of the stand's independent optical tach."""
    OPTICAL_EDGE = "optical-edge"
    """Device time of the last pulse of the optical tach, in microseconds, rolling."""
    SPEED = "speed"
    """A speed that some other instrument already computed."""
    DISPLAY_SPEED = "display-speed"
    """The speed that the head's controller displays; never the sole evidence."""
    STEP = "step"
    """Step that the controller says it executes: 0 idle, 1.. the steps, 100 stopping."""
    STATUS = "status"
    """Bits of the stand's digital inputs, see ``model.registers.Status``."""
    DI_FLOW = "di-flow"
    DI_PRESSURE = "di-pressure"
    DRAIN_RESISTIVITY = "drain-resistivity"
    FEED_RESISTIVITY = "feed-resistivity"
    N2_FLOW = "n2-flow"
    N2_TEMPERATURE = "n2-temperature"
    SEAL_PRESSURE = "seal-pressure"
    VIBRATION = "vibration"
    """Velocity severity on the bearing housing."""
    MOTOR_CURRENT = "motor-current"
    ACCELERATION_VERTICAL = "acceleration-vertical"
    """Acceleration of the bearing housing, sampled fast; so are the other two directions."""
    ACCELERATION_HORIZONTAL = "acceleration-horizontal"
    ACCELERATION_AXIAL = "acceleration-axial"
    SHAFT_PULSE = "shaft-pulse"
    """Level of the optical tach, sampled with the accelerations by the same converter."""
    BOWL_TEMPERATURE = "bowl-temperature"
    SEAL_TEMPERATURE = "seal-temperature"
    BEARING_TEMPERATURE = "bearing-temperature"
    OTHER = "other"


ACCELERATIONS = (
    Role.ACCELERATION_VERTICAL,
    Role.ACCELERATION_HORIZONTAL,
    Role.ACCELERATION_AXIAL,
)
"""The three directions on the bearing housing."""


UNITS: dict[Role, str] = {
    Role.TACH_COUNT: "1",
    Role.OPTICAL_COUNT: "1",
    Role.TACH_EDGE: "us",
    Role.OPTICAL_EDGE: "us",
    Role.SPEED: "rpm",
    Role.DISPLAY_SPEED: "rpm",
    Role.STEP: "1",
    Role.STATUS: "1",
    Role.DI_FLOW: "L/min",
    Role.DI_PRESSURE: "bar_g",
    Role.DRAIN_RESISTIVITY: "MOhm.cm",
    Role.FEED_RESISTIVITY: "MOhm.cm",
    Role.N2_FLOW: "slm",
    Role.N2_TEMPERATURE: "degC",
    Role.SEAL_PRESSURE: "kPa_g",
    Role.VIBRATION: "mm/s",
    Role.MOTOR_CURRENT: "A",
    Role.ACCELERATION_VERTICAL: "m/s2",
    Role.ACCELERATION_HORIZONTAL: "m/s2",
    Role.ACCELERATION_AXIAL: "m/s2",
    Role.BOWL_TEMPERATURE: "degC",
    Role.SEAL_TEMPERATURE: "degC",
    Role.BEARING_TEMPERATURE: "degC",
}
"""The unit in which the judge takes each role; a channel in another unit is refused."""


class Instrument(Noun):
    """What measured a channel."""

    name: Name
    """Shop identity of the instrument, for example OT-3."""
    standard_uncertainty: NotNegative
    """Standard uncertainty of a reading, in the channel's unit."""
    relative_uncertainty: NotNegative = 0.0
    """Standard uncertainty in proportion to the reading, added in quadrature."""
    calibration_due: str | None = None
    """Date on which the calibration ends, ISO 8601, or absent when it has none."""


class Channel(Noun):
    """One measured quantity: its meaning, its place in a sample record, and its instrument."""

    name: Name
    role: Role
    first_register: Annotated[int, Field(ge=0)]
    """Offset of the first register inside a sample record, or the column number of an import."""
    node: str | None = None
    """Where a source without registers keeps it: an OPC UA node id, or a key of an MQTT message."""
    type: CountType
    scale: Positive = 1.0
    """Value of one count, in the channel's unit."""
    offset: float = 0.0
    """Value of zero counts, in the channel's unit."""
    unit: Annotated[str, Field(min_length=1)]
    sample_rate_hz: Positive
    missing: int | None = None
    """Count that the device sends when it has no reading."""
    pulses_per_rev: Annotated[int, Field(ge=1, le=4096)] | None = None
    """For counts of pulses only."""
    instrument: Instrument

    @model_validator(mode="after")
    def _fits_its_role(self) -> Self:
        expected = UNITS.get(self.role)
        if expected is not None and self.unit != expected:
            msg = f'unit "{self.unit}" does not fit role {self.role}: it is read in "{expected}"'
            raise ValueError(msg)
        counts = self.role in {Role.TACH_COUNT, Role.OPTICAL_COUNT}
        if counts != (self.pulses_per_rev is not None):
            msg = "pulses_per_rev belongs to pulse counts, and only to them"
            raise ValueError(msg)
        return self
