"""The Modbus TCP connection to one head of a test stand.

The recorder reads. It acknowledges blocks only to a stand that asks for it, and gives programs
and commands only to a stand that says it is simulated.
"""

import logging
import re
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU

from spinproof.files.canonical import canonical_json
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import StandError
from spinproof.model.program import Program
from spinproof.model.registers import (
    HEADER,
    HEADER_REGISTERS,
    HOLDING_ACKNOWLEDGE,
    HOLDING_COMMAND,
    HOLDING_PROGRAM,
    HOLDING_PROGRAM_LENGTH,
    IDENTITY_REGISTERS,
    MAGIC,
    PROGRAM_REGISTERS,
    PROTOCOL,
    RING,
    Command,
    Header,
    StandFlag,
    StandState,
)
from spinproof.record.blocks import RecordLayout, check_map, read_head

logging.getLogger("pymodbus").addHandler(logging.NullHandler())  # its errors become ours

_MOST_READ = 125
_MOST_WRITTEN = 123
_PROGRAM_ACCEPTED = 1
_CHECK_LINE = "Check the cable, the address and that the stand is switched on."


@dataclass(frozen=True)
class StandStatus:
    """What a stand says about its current or last run.

    Attributes
    ----------
    state : StandState
        Idle, running or finished.
    run_number : int
        Number that the stand gives the run.
    blocks_written : int
        Blocks of that run so far.
    """

    state: StandState
    run_number: int
    blocks_written: int


class ModbusStand:
    """One head of a test stand, reached by Modbus TCP.

    Parameters
    ----------
    host : str
        Name or address of the stand.
    port : int
        Its TCP port.
    channel_map : ChannelMap
        Names the unit id, the head, and where its channels lie.
    timeout_s : float
        How long to wait for an answer. [s]
    retries : int
        How often a question is repeated.
    """

    def __init__(
        self,
        host: str,
        port: int,
        channel_map: ChannelMap,
        *,
        timeout_s: float = 1.0,
        retries: int = 1,
    ) -> None:
        self._client = ModbusTcpClient(host, port=port, timeout=timeout_s, retries=retries)
        self._map = channel_map
        self._unit = channel_map.unit_id
        self._where = f"{host}:{port}, unit {channel_map.unit_id}"
        try:
            self.reconnect()
        except StandError:
            self.close()
            raise

    def reconnect(self) -> None:
        """Connect anew, and check again what answers.

        Raises
        ------
        StandError
            If nothing answers, or something else than the head that the map names.
        """
        self.close()
        if not self._client.connect():  # type: ignore[no-untyped-call]  # left untyped by pymodbus
            raise StandError("the stand cannot be reached", where=self._where, mend=_CHECK_LINE)
        try:
            self._greet()
        except BaseException:
            self.close()
            raise

    @property
    def simulated(self) -> bool:
        """Whether the samples come from the virtual head."""
        return StandFlag.SIMULATED in self._flags

    @property
    def wants_acknowledge(self) -> bool:
        """Whether the stand waits for its reader, as one does that runs faster than real time."""
        return StandFlag.WANTS_ACKNOWLEDGE in self._flags

    @property
    def ring_slots(self) -> int:
        """How many blocks the stand keeps."""
        return self._slots

    def status(self) -> StandStatus:
        """Ask for state, run number and number of blocks.

        Returns
        -------
        StandStatus
            What the stand says.

        Raises
        ------
        StandError
            If it does not answer, or with a state that the protocol does not know.
        """
        header = self._read_header()
        try:
            state = StandState(header[Header.STATE])
        except ValueError as error:
            raise self._nonsense(f"its state is {header[Header.STATE]}") from error
        blocks = _long(header, Header.BLOCKS_WRITTEN)
        return StandStatus(state, header[Header.RUN_NUMBER], blocks)

    def read_block(self, number: int) -> bytes | None:
        """Read one block of the ring.

        Parameters
        ----------
        number : int
            Number of the block in the current run.

        Returns
        -------
        bytes or None
            The block's registers, big-endian; None when another block lies there by now.

        Raises
        ------
        StandError
            If the stand does not answer, or the block's head makes no sense.
        """
        count = self.layout.block_registers
        address = RING + number % self._slots * count
        registers = self._read(address, count)
        payload = struct.pack(f">{count}H", *registers)
        head = read_head(payload)
        if head.number != number:
            return None
        if not 0 < head.samples <= self.layout.samples_per_block:
            raise self._nonsense(f"block {number} claims {head.samples} samples")
        return payload

    def acknowledge(self, blocks: int) -> None:
        """Tell how many blocks have been read, if the stand wants to know it.

        Parameters
        ----------
        blocks : int
            Number of blocks of the current run.
        """
        if self.wants_acknowledge:
            self._write(HOLDING_ACKNOWLEDGE, [blocks >> 16, blocks & 0xFFFF])

    def load_program(self, program: Program) -> None:
        """Tell a simulated stand what to do in its next run.

        Parameters
        ----------
        program : Program
            Recipe, load and faults.

        Raises
        ------
        StandError
            If the stand is real, or does not accept the program.
        """
        self._refuse_real()
        text = canonical_json(program.to_document())
        if len(text) > 2 * PROGRAM_REGISTERS:
            raise StandError(
                f"the program has {len(text)} bytes, the stand takes {2 * PROGRAM_REGISTERS}",
                where=self._where,
                mend="Shorten the names of the steps, or name fewer faults.",
            )
        words = struct.unpack(f">{(len(text) + 1) // 2}H", text + b"\0" * (len(text) % 2))
        for start in range(0, len(words), _MOST_WRITTEN):
            self._write(HOLDING_PROGRAM + start, words[start : start + _MOST_WRITTEN])
        self._write(HOLDING_PROGRAM_LENGTH, [len(text)])
        if self._read_header()[Header.PROGRAM_STATUS] != _PROGRAM_ACCEPTED:
            raise StandError(
                "the stand does not accept the program",
                where=self._where,
                mend="Check that recipe and load fit the head that the stand simulates.",
            )

    def start(self) -> None:
        """Start the program on a simulated stand."""
        self._command(Command.START)

    def stop(self) -> None:
        """Stop the program on a simulated stand."""
        self._command(Command.STOP)

    def service(self) -> None:
        """Put the wear of a simulated stand back to new."""
        self._command(Command.SERVICE)

    def close(self) -> None:
        """Close the connection."""
        self._client.close()  # type: ignore[no-untyped-call]  # left untyped by pymodbus

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def _greet(self) -> None:
        header = self._read_header()
        self._check_protocol(header)
        self.identity = _text(header[Header.IDENTITY :][:IDENTITY_REGISTERS])
        """What the stand says it is."""
        self._check_head()
        self._flags = StandFlag(header[Header.FLAGS])
        self._slots = header[Header.RING_SLOTS]
        self.layout = self._read_layout(header)
        """How the stand packs its samples."""

    def _command(self, command: Command) -> None:
        self._refuse_real()
        self._write(HOLDING_COMMAND, [command])

    def _refuse_real(self) -> None:
        if not self.simulated:
            raise StandError(
                "the recorder never writes to a real machine",
                where=self._where,
                mend="Start and stop the head at its own controller; the recorder follows.",
            )

    def _check_protocol(self, header: Sequence[int]) -> None:
        if header[Header.MAGIC] != MAGIC:
            raise StandError(
                f"what answers there is no test stand: it begins with 0x{header[0]:04X}",
                where=self._where,
                mend=f"Check address and unit id; a stand begins with 0x{MAGIC:04X}.",
            )
        if header[Header.PROTOCOL] != PROTOCOL:
            raise StandError(
                f"the stand speaks protocol {header[Header.PROTOCOL]}, the recorder {PROTOCOL}",
                where=self._where,
                mend="Bring stand and recorder to the same version.",
            )

    def _check_head(self) -> None:
        if not re.search(rf"(?<![\w-]){re.escape(self._map.head)}(?![\w-])", self.identity):
            raise StandError(
                f'this unit is another head: it calls itself "{self.identity}", and the channel '
                f"map is for {self._map.head}",
                where=self._where,
                mend="Check unit_id in the channel map, and the plugs of the two heads.",
            )

    def _read_layout(self, header: Sequence[int]) -> RecordLayout:
        try:
            layout = RecordLayout(
                record_registers=header[Header.RECORD_REGISTERS],
                samples_per_block=header[Header.SAMPLES_PER_BLOCK],
                sample_period_us=_long(header, Header.SAMPLE_PERIOD_US),
            )
        except ValueError as error:
            raise self._nonsense("a length or period in its header is zero") from error
        if layout.block_registers > _MOST_READ or not self._slots:
            raise self._nonsense(f"its blocks have {layout.block_registers} registers")
        check_map(self._map, layout)
        return layout

    def _read_header(self) -> Sequence[int]:
        return self._read(HEADER, HEADER_REGISTERS)

    def _read(self, address: int, count: int) -> Sequence[int]:
        def request() -> ModbusPDU:
            return self._client.read_input_registers(address, count=count, device_id=self._unit)

        registers = self._ask(request, f"reading register {address}").registers
        if len(registers) != count:
            raise self._nonsense(f"{len(registers)} registers came for {count} from {address} on")
        return registers

    def _write(self, address: int, values: Sequence[int]) -> None:
        def request() -> ModbusPDU:
            return self._client.write_registers(address, list(values), device_id=self._unit)

        self._ask(request, f"writing register {address}")

    def _ask(self, request: Callable[[], ModbusPDU], what: str) -> ModbusPDU:
        try:
            reply = request()
        except (ModbusException, OSError) as error:
            raise StandError(
                f"the stand does not answer while {what}", where=self._where, mend=_CHECK_LINE
            ) from error
        if reply.isError():
            raise StandError(
                f"the stand refuses {what}, with exception {reply.exception_code}",
                where=self._where,
                mend="Check unit id and protocol version of the stand; it may also be busy.",
            )
        return reply

    def _nonsense(self, what: str) -> StandError:
        return StandError(
            f"the stand answers nonsense: {what}",
            where=self._where,
            mend="Check that the stand speaks the protocol version that it states.",
        )


def _long(registers: Sequence[int], at: int) -> int:
    return registers[at] << 16 | registers[at + 1]


def _text(registers: Sequence[int]) -> str:
    raw = struct.pack(f">{len(registers)}H", *registers)
    return raw.split(b"\0")[0].decode("ascii", "replace").strip()
