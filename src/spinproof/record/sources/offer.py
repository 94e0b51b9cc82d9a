"""What a source offers, as it was found there."""

import math
from dataclasses import dataclass
from enum import StrEnum

from spinproof.model.channel import CountType
from spinproof.model.stream import RegisterKind, SourceKind, WordOrder
from spinproof.record.sources.registers import read_value


class OfferKind(StrEnum):
    """What was looked at."""

    STAND = "stand"
    """The blocks of a test stand."""
    MODBUS_TCP = SourceKind.MODBUS_TCP.value
    MODBUS_RTU_OVER_TCP = SourceKind.MODBUS_RTU_OVER_TCP.value
    OPC_UA = SourceKind.OPC_UA.value
    MQTT = SourceKind.MQTT.value


@dataclass(frozen=True)
class PairReading:
    """Two registers, read in one way.

    Attributes
    ----------
    type : CountType
        What they are taken for.
    order : WordOrder
        How the value is taken to lie in them.
    value : float
        What comes out; not a number where a float holds none.
    is_likely : bool
        Whether it has a size that quantities have.
    """

    type: CountType
    order: WordOrder
    value: float
    is_likely: bool


@dataclass(frozen=True)
class Offered:
    """One thing that a source offers.

    Attributes
    ----------
    key : str
        Node id, key of a message, or address of a register.
    name : str
        What the source calls it.
    place : int
        Register, or column.
    type : CountType
        How it is stored.
    value : float or None
        Its present value, as far as it is a number.
    unit : str or None
        Its unit, as the source writes it.
    remark : str
        Why there is no value, or what the source says beside it.
    pairs : tuple of PairReading
        For a register: it and its next, in every reading.
    """

    key: str
    name: str
    place: int
    type: CountType
    value: float | None
    unit: str | None = None
    remark: str = ""
    pairs: tuple[PairReading, ...] = ()


@dataclass(frozen=True)
class Offer:
    """What a source offers.

    Attributes
    ----------
    kind : OfferKind
        What was looked at.
    address : str
        Where.
    items : tuple of Offered
        What is there.
    rate_hz : float or None
        Samples a second, as far as it can be told. [Hz]
    topic : str or None
        For MQTT.
    unit_id : int or None
        For Modbus and a stand.
    registers : RegisterKind or None
        For Modbus.
    identity : str
        What the source says it is.
    server_sha256 : str or None
        Fingerprint of an OPC UA server's certificate.
    remarks : tuple of str
        What could not be read.
    """

    kind: OfferKind
    address: str
    items: tuple[Offered, ...]
    rate_hz: float | None = None
    topic: str | None = None
    unit_id: int | None = None
    registers: RegisterKind | None = None
    identity: str = ""
    server_sha256: str | None = None
    remarks: tuple[str, ...] = ()


_LIKELY = {
    CountType.F32: (1e-4, 1e6),
    CountType.U32: (1.0, 1e8),
    CountType.I32: (1.0, 1e8),
}
"""Sizes that quantities at a bench have; common practice, no source."""


def pair_readings(words: tuple[int, int]) -> tuple[PairReading, ...]:
    """Read two registers in every way.

    Parameters
    ----------
    words : pair of int
        The registers, by rising address.

    Returns
    -------
    tuple of PairReading
        As float, unsigned and signed, each in four orders.

    Examples
    --------
    >>> floats = [r for r in pair_readings((0x4148, 0)) if r.type is CountType.F32]
    >>> [(r.order.value, r.value) for r in floats if r.is_likely][0]
    ('big', 12.5)
    """
    readings = []
    for kind, (low, high) in _LIKELY.items():
        for order in WordOrder:
            value = read_value(words, kind, order)
            likely = value == 0 or low <= abs(value) <= high
            readings.append(PairReading(kind, order, value, likely and not math.isnan(value)))
    return tuple(readings)
