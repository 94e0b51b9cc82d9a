"""Streams: channels that a source beside the stand's own blocks delivers together."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.channel import Channel
from spinproof.model.noun import Name, Noun, Positive

FAST_ABOVE_HZ = 1000.0
"""A stream sampled faster than this is sealed in a file of its own beside the trace. [Hz]"""


class SourceKind(StrEnum):
    """How a source is spoken to."""

    MODBUS_TCP = "modbus-tcp"
    """Registers, polled."""
    MODBUS_RTU_OVER_TCP = "modbus-rtu-over-tcp"
    """Registers, polled through a serial gateway that keeps the serial framing."""
    OPC_UA = "opc-ua"
    """Nodes, subscribed to."""
    MQTT = "mqtt"
    """A topic, subscribed to."""
    FILE = "file"
    """A recording that was made elsewhere and taken in afterwards."""


class RegisterKind(StrEnum):
    """Which registers of a Modbus unit are read."""

    INPUT = "input"
    HOLDING = "holding"


class WordOrder(StrEnum):
    """How a Modbus device lays a value of more than one register; the bytes of 0xAABBCCDD."""

    BIG = "big"
    """AA BB CC DD: high word first."""
    LITTLE = "little"
    """CC DD AA BB: low word first."""
    BIG_SWAPPED = "big-swapped"
    """BB AA DD CC: high word first, the bytes of each word exchanged."""
    LITTLE_SWAPPED = "little-swapped"
    """DD CC BB AA: low word first, the bytes of each word exchanged."""


class StreamSpec(Noun):
    """Channels that one source samples together."""

    name: Name
    """Name of the stream in the map, for example accelerometer."""
    source: SourceKind
    address: Annotated[str, Field(min_length=1)]
    """HOST:PORT, for OPC UA the endpoint's URL; for a file its kind."""
    topic: str | None = None
    """For MQTT: the topic."""
    unit_id: Annotated[int, Field(ge=0, le=247)] | None = None
    """For Modbus: the unit that is asked."""
    registers: RegisterKind = RegisterKind.INPUT
    """For Modbus: which registers are read."""
    word_order: WordOrder = WordOrder.BIG
    """For Modbus: how a value of two registers lies in them."""
    server_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None
    """For OPC UA: fingerprint of the server's certificate; the session is then encrypted."""
    sample_rate_hz: Positive
    """Rate by the source's own clock. [Hz]"""
    is_regular: bool = True
    """Whether samples come at equal distances; a subscription to changes does not."""
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, strict=False)]
    """``first_register`` is a register for Modbus, else the column in the stream's blocks."""

    @model_validator(mode="after")
    def _says_how_to_reach_it(self) -> Self:
        if (self.topic is None) == (self.source is SourceKind.MQTT):
            msg = "topic belongs to MQTT, and MQTT needs it"
            raise ValueError(msg)
        if self.is_fast and len({channel.type for channel in self.channels}) > 1:
            msg = f"the channels of a stream above {FAST_ABOVE_HZ:g} Hz share one type"
            raise ValueError(msg)
        return self

    @property
    def is_fast(self) -> bool:
        """Whether its samples are sealed in a file of their own."""
        return self.sample_rate_hz > FAST_ABOVE_HZ
