"""Registers of a Modbus unit, polled over TCP, with the framing of either wire."""

import logging
import math
import time
from collections.abc import Sequence

import numpy as np
from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerType
from pymodbus.pdu import ModbusPDU

from spinproof.model.errors import DocumentError, StandError
from spinproof.model.stream import RegisterKind, SourceKind, StreamSpec
from spinproof.record.sources.address import host_and_port
from spinproof.record.sources.registers import (
    RegisterRead,
    plan_reads,
    read_alone,
    read_value,
    width,
)
from spinproof.record.sources.source import NoticeKind, Push
from spinproof.record.sources.thread import RECONNECT_S, SourceThread
from spinproof.record.stream_block import StreamBlock

logging.getLogger("pymodbus").addHandler(logging.NullHandler())  # its errors become ours

MOST_HZ = 500.0
"""Above this a poll is no measurement any more. [Hz]"""
_PATIENT_POLLS = 3
_LEAST_TIMEOUT_S = 0.1
_MOST_TIMEOUT_S = 2.0
_BLOCK_S = 0.1
_BUSY = 6
_BUSY_TRIES = 3
_NOT_THERE = frozenset({1, 2, 3})
_REASONS = {
    1: "function not known",
    2: "no such register",
    3: "value refused",
    4: "device failure",
    6: "busy",
    10: "gateway has no path",
    11: "gateway got no answer",
}
"""Exception codes (Modbus Application Protocol V1.1b3, 7)."""


def timeout_s(stream: StreamSpec) -> float:
    """Give how long an answer is awaited [s]: three polls, within 0.1 and 2 s."""
    polls = _PATIENT_POLLS / stream.sample_rate_hz
    return min(max(polls, _LEAST_TIMEOUT_S), _MOST_TIMEOUT_S)


def connect(stream: StreamSpec) -> ModbusTcpClient:
    """Connect to the unit of a stream; its first answer is awaited for 2 s.

    Raises
    ------
    StandError
        If nothing answers there.
    """
    host, port = host_and_port(stream.address, stream.name)
    rtu = stream.source is SourceKind.MODBUS_RTU_OVER_TCP
    client = ModbusTcpClient(
        host,
        port=port,
        framer=FramerType.RTU if rtu else FramerType.SOCKET,
        timeout=_MOST_TIMEOUT_S,
        retries=0,
    )
    if not client.connect():  # type: ignore[no-untyped-call]  # left untyped by pymodbus
        raise StandError(
            "the device cannot be reached",
            where=f"stream {stream.name}, {stream.address}",
            mend="Check the cable, the address and that the device is switched on.",
        )
    return client


def ask(client: ModbusTcpClient, stream: StreamSpec, first: int, count: int) -> ModbusPDU:
    """Read some registers; the reply may be an exception of the device.

    Raises
    ------
    StandError
        If no answer came in time, or one that belongs to another question.
    """
    holding = stream.registers is RegisterKind.HOLDING
    read = client.read_holding_registers if holding else client.read_input_registers
    try:
        reply = read(first, count=count, device_id=stream.unit_id or 1)
    except (ModbusException, OSError) as error:
        raise StandError(
            f"the device does not answer while reading register {first}",
            where=f"stream {stream.name}, {stream.address}",
            mend="Check the cable, the unit id and that the device is switched on.",
        ) from error
    if not reply.isError() and len(reply.registers) != count:
        raise StandError(
            f"{len(reply.registers)} registers came for {count} from {first} on",
            where=f"stream {stream.name}, {stream.address}",
            mend="Check that nothing else speaks on that line.",
        )
    return reply


class ModbusSource(SourceThread):
    """Polls registers on an absolute schedule; a poll that was missed leaves its number free.

    Parameters
    ----------
    stream : StreamSpec
        Address, unit, registers, rate.
    reconnect_s : tuple of float
        Pauses before each attempt to reach the device again. [s]

    Raises
    ------
    DocumentError
        If the rate is beyond what polling can do.
    """

    def __init__(self, stream: StreamSpec, *, reconnect_s: tuple[float, ...] = RECONNECT_S) -> None:
        super().__init__(stream, reconnect_s=reconnect_s)
        if stream.sample_rate_hz > MOST_HZ:
            raise DocumentError(
                f"registers are polled at {MOST_HZ:g} Hz at most",
                where=f"stream {stream.name}",
                mend="Lower sample_rate_hz; a fast signal needs a source that sends blocks.",
            )
        self._period_ns = round(1e9 / stream.sample_rate_hz)
        self._rows_per_block = max(1, round(stream.sample_rate_hz * _BLOCK_S))
        self._epoch_ns: int | None = None
        self._tick = -1
        self._sequence = 0
        self._rows: list[list[float]] = []
        self._times_ns: list[int] = []
        self._reads: tuple[RegisterRead, ...] = ()
        self._asked = b""

    def session(self, push: Push) -> None:
        """Poll until ``stopping``; StandError says that the device went away."""
        client = connect(self.stream)
        client.transaction.trace_packet = self._watch_frame
        self._reads = plan_reads(self.stream.channels)
        try:
            self._check_any(client)
            for settings in (client.comm_params, client.transaction.comm_params):
                settings.timeout_connect = timeout_s(self.stream)
            self.connected()
            while self._await_tick(push):
                self._take_row(client)
        finally:
            client.close()  # type: ignore[no-untyped-call]  # left untyped by pymodbus
            self._deliver(push)

    def _check_any(self, client: ModbusTcpClient) -> None:
        """Refuse a device that gives none of the channels.

        Raises
        ------
        StandError
            If it gives none.
        """
        row = self._read_row(client)
        told = {n.channel: n.text for n in self.notices if n.kind is NoticeKind.UNREADABLE}
        if len(told) == len(row):
            raise StandError(
                f"the device gives none of the channels: {next(iter(told.values()))}",
                where=f"stream {self.name}, {self.stream.address}",
                mend="Check unit id, the kind of registers and their addresses in the map.",
            )

    def _await_tick(self, push: Push) -> bool:
        """Wait for the next poll that is due; False when the source should stop."""
        now_ns = time.monotonic_ns()
        epoch_ns = self._epoch_ns = now_ns if self._epoch_ns is None else self._epoch_ns
        tick = max(self._tick + 1, (now_ns - epoch_ns) // self._period_ns)
        if tick != self._tick + 1 or len(self._rows) >= self._rows_per_block:
            self._deliver(push)
        wait_ns = epoch_ns + tick * self._period_ns - time.monotonic_ns()
        self.stopping.wait(max(wait_ns, 0) / 1e9)
        self._tick = tick
        return not self.stopping.is_set()

    def _take_row(self, client: ModbusTcpClient) -> None:
        begun_ns = time.monotonic_ns()
        row = self._read_row(client)
        self._rows.append(row)
        self._times_ns.append((begun_ns + time.monotonic_ns()) // 2)

    def _deliver(self, push: Push) -> None:
        if not self._rows:
            return
        times_ns = np.array(self._times_ns, dtype=np.int64)
        push(
            StreamBlock(
                stream=self.name,
                sequence=self._sequence,
                first_sample=self._tick + 1 - len(self._rows),
                arrival_ns=time.monotonic_ns(),
                counts=np.array(self._rows),
                device_time_ns=int(times_ns[0]),
                times_ns=None if self.stream.is_regular else times_ns,
            )
        )
        self._sequence += 1
        self._rows, self._times_ns = [], []

    def _read_row(self, client: ModbusTcpClient) -> list[float]:
        row = [math.nan] * len(self.stream.channels)
        for read in self._reads:
            self._fetch(client, read, row)
        return row

    def _fetch(self, client: ModbusTcpClient, read: RegisterRead, row: list[float]) -> None:
        reply = self._ask_patiently(client, read)
        if not reply.isError():
            for column in read.columns:
                row[column] = self._value(column, reply.registers, read.first)
            return
        code = reply.exception_code
        if len(read.columns) == 1:
            self._tell_unreadable(read, code)
            return
        alone = tuple(read_alone(self.stream.channels, column) for column in read.columns)
        if code in _NOT_THERE:
            self._reads = tuple(
                part for each in self._reads for part in (alone if each is read else (each,))
            )
        for part in alone:
            self._fetch(client, part, row)

    def _ask_patiently(self, client: ModbusTcpClient, read: RegisterRead) -> ModbusPDU:
        for _ in range(_BUSY_TRIES - 1):
            reply = ask(client, self.stream, read.first, read.count)
            if not reply.isError() or reply.exception_code != _BUSY:
                return reply
            self.stopping.wait(self._period_ns / 4e9)
        return ask(client, self.stream, read.first, read.count)

    def _value(self, column: int, registers: Sequence[int], first: int) -> float:
        channel = self.stream.channels[column]
        start = channel.first_register - first
        words = registers[start : start + width(channel.type)]
        value = read_value(words, channel.type, self.stream.word_order)
        if math.isnan(value):
            self.board.tell(
                NoticeKind.MISSING, "the register is not a number", channel=channel.name
            )
        elif value == channel.missing:
            text = f"the device sends {channel.missing}: no reading"
            self.board.tell(NoticeKind.MISSING, text, channel=channel.name)
            return math.nan
        return value

    def _tell_unreadable(self, read: RegisterRead, code: int) -> None:
        channel = self.stream.channels[read.columns[0]]
        last = read.first + read.count - 1
        where = f"register {read.first}" + (f" to {last}" if read.count > 1 else "")
        why = _REASONS.get(code, "unknown reason")
        text = f"not readable at {where}: exception {code}, {why}"
        self.board.tell(NoticeKind.UNREADABLE, text, channel=channel.name)

    def _watch_frame(self, sending: bool, data: bytes) -> bytes:  # noqa: FBT001 - pymodbus calls it so
        """Note answers that carry another transaction or unit; pymodbus throws them away."""
        if self.stream.source is SourceKind.MODBUS_TCP:
            if sending:
                self._asked = data[:2] + data[6:7]
            elif len(data) > 6 and data[:2] + data[6:7] != self._asked:
                self.board.tell(NoticeKind.FOREIGN, "an answer to another question was thrown away")
        return data
