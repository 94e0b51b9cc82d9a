"""Looks at what a Modbus unit or a test stand offers."""

import struct
from collections.abc import Iterator

from pymodbus.client import ModbusTcpClient

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.errors import StandError
from spinproof.model.registers import (
    BLOCK_HEAD,
    HEADER,
    HEADER_REGISTERS,
    IDENTITY_REGISTERS,
    MAGIC,
    PROTOCOL,
    RING,
    Header,
)
from spinproof.model.stream import RegisterKind, SourceKind, StreamSpec
from spinproof.record.sources.modbus import ask, connect
from spinproof.record.sources.offer import Offer, Offered, OfferKind, pair_readings
from spinproof.record.sources.registers import MOST_REGISTERS

_LOOK_HZ = 3.0  # an answer is awaited for a second
_NOBODY = Channel(
    name="any",
    role=Role.OTHER,
    first_register=0,
    type=CountType.U16,
    unit="1",
    sample_rate_hz=_LOOK_HZ,
    instrument=Instrument(name="none", standard_uncertainty=0.0),
)


def look_at_registers(
    address: str,
    kind: SourceKind,
    *,
    unit_id: int,
    registers: RegisterKind,
    first: int,
    count: int,
) -> Offer:
    """Read a range of registers, and show each with its next in every reading.

    Parameters
    ----------
    address : str
        HOST:PORT.
    kind : SourceKind
        Modbus TCP, or RTU over TCP.
    unit_id : int
        The unit.
    registers : RegisterKind
        Input or holding registers.
    first, count : int
        The range.

    Returns
    -------
    Offer
        The registers that are there; those that are not are told in its remarks.

    Raises
    ------
    StandError
        If the device does not answer, or has none of the registers.
    """
    spec = _spec(address, kind, unit_id, registers)
    client = connect(spec)
    try:
        words = dict(_read(client, spec, first, count))
    finally:
        client.close()  # type: ignore[no-untyped-call]  # left untyped by pymodbus
    if not words:
        raise StandError(
            f"the unit has none of the registers {first} to {first + count - 1}",
            where=f"{address}, unit {unit_id}, {registers} registers",
            mend="Try the other kind of registers, another range, or another unit id.",
        )
    absent = [at for at in range(first, first + count) if at not in words]
    remarks = (f"not readable: registers {_ranges(absent)}",) if absent else ()
    return Offer(
        kind=OfferKind(kind.value),
        address=address,
        items=tuple(_offered(at, words) for at in sorted(words)),
        unit_id=unit_id,
        registers=registers,
        remarks=remarks,
    )


def look_at_stand(address: str, *, unit_id: int) -> Offer:
    """Read how a test stand packs its samples, and its newest sample.

    Parameters
    ----------
    address : str
        HOST:PORT.
    unit_id : int
        The head's unit.

    Returns
    -------
    Offer
        The registers of a sample record.

    Raises
    ------
    StandError
        If it does not answer, or is no test stand.
    """
    spec = _spec(address, SourceKind.MODBUS_TCP, unit_id, RegisterKind.INPUT)
    client = connect(spec)
    try:
        header = _must_read(client, spec, HEADER, HEADER_REGISTERS)
        if (header[Header.MAGIC], header[Header.PROTOCOL]) != (MAGIC, PROTOCOL):
            raise StandError(
                "what answers there is no test stand of this protocol",
                where=f"{address}, unit {unit_id}",
                mend="Look at it as modbus-tcp.",
            )
        newest = _newest_record(client, spec, header)
    finally:
        client.close()  # type: ignore[no-untyped-call]  # left untyped by pymodbus
    period_us = header[Header.SAMPLE_PERIOD_US] << 16 | header[Header.SAMPLE_PERIOD_US + 1]
    raw = struct.pack(f">{IDENTITY_REGISTERS}H", *header[Header.IDENTITY :][:IDENTITY_REGISTERS])
    return Offer(
        kind=OfferKind.STAND,
        address=address,
        items=tuple(_offered(at, newest) for at in range(header[Header.RECORD_REGISTERS])),
        rate_hz=1e6 / period_us if period_us else None,
        unit_id=unit_id,
        identity=raw.split(b"\0")[0].decode("ascii", "replace").strip(),
        remarks=() if newest else ("no run has been made yet, so there is no sample to show",),
    )


def _spec(address: str, kind: SourceKind, unit_id: int, registers: RegisterKind) -> StreamSpec:
    return StreamSpec(
        name="look",
        source=kind,
        address=address,
        unit_id=unit_id,
        registers=registers,
        sample_rate_hz=_LOOK_HZ,
        channels=(_NOBODY,),
    )


def _read(
    client: ModbusTcpClient, spec: StreamSpec, first: int, count: int
) -> Iterator[tuple[int, int]]:
    """Give address and content of each register that is there."""
    for start in range(first, first + count, MOST_REGISTERS):
        part = min(MOST_REGISTERS, first + count - start)
        reply = ask(client, spec, start, part)
        if not reply.isError():
            yield from zip(range(start, start + part), reply.registers, strict=True)
            continue
        for at in range(start, start + part):
            alone = ask(client, spec, at, 1)
            if not alone.isError():
                yield at, alone.registers[0]


def _must_read(client: ModbusTcpClient, spec: StreamSpec, first: int, count: int) -> list[int]:
    reply = ask(client, spec, first, count)
    if reply.isError():
        raise StandError(
            f"the unit refuses reading register {first}, with exception {reply.exception_code}",
            where=f"{spec.address}, unit {spec.unit_id}",
            mend="Check the unit id; a test stand has one for each head.",
        )
    return list(reply.registers)


def _newest_record(client: ModbusTcpClient, spec: StreamSpec, header: list[int]) -> dict[int, int]:
    """Give the last sample record of the newest block; empty when there is none."""
    blocks = header[Header.BLOCKS_WRITTEN] << 16 | header[Header.BLOCKS_WRITTEN + 1]
    record, samples = header[Header.RECORD_REGISTERS], header[Header.SAMPLES_PER_BLOCK]
    slots, size = header[Header.RING_SLOTS], BLOCK_HEAD + record * samples
    if not blocks or not slots or not record or size > MOST_REGISTERS:
        return {}
    block = _must_read(client, spec, RING + (blocks - 1) % slots * size, size)
    return dict(enumerate(block[-record:]))


def _offered(at: int, words: dict[int, int]) -> Offered:
    pair = (words[at], words[at + 1]) if at in words and at + 1 in words else None
    return Offered(
        key=str(at),
        name=f"register {at}",
        place=at,
        type=CountType.U16,
        value=float(words[at]) if at in words else None,
        pairs=pair_readings(pair) if pair else (),
    )


def _ranges(numbers: list[int]) -> str:
    """Write numbers as ranges: 3 to 5, 9."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(str(p[0]) if len(p) == 1 else f"{p[0]} to {p[-1]}" for p in parts)
