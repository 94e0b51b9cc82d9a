"""The stand's data logger for one head: its registers, its ring of blocks, its commands.

Nothing here knows a network: the server reads and writes registers, and lets the logger step.
"""

from pydantic import ValidationError

from spinproof.model.head import HeadSpec
from spinproof.model.program import Program
from spinproof.model.registers import (
    BLOCK_REGISTERS,
    HEADER_REGISTERS,
    HOLDING_ACKNOWLEDGE,
    HOLDING_COMMAND,
    HOLDING_PROGRAM,
    HOLDING_PROGRAM_LENGTH,
    IDENTITY_REGISTERS,
    MAGIC,
    PROGRAM_REGISTERS,
    PROTOCOL,
    RECORD_REGISTERS,
    RING,
    RING_SLOTS,
    SAMPLE_RATE_HZ,
    SAMPLES_PER_BLOCK,
    Command,
    Header,
    StandFlag,
    StandState,
)
from spinproof.virtualhead.head import VirtualHead

INPUT_REGISTERS = RING + RING_SLOTS * BLOCK_REGISTERS
HOLDING_REGISTERS = HOLDING_PROGRAM + PROGRAM_REGISTERS
EMPTY_SLOT = [0xFFFF] * BLOCK_REGISTERS


class RefusedWriteError(Exception):
    """A value that the logger does not take; ``is_busy`` when it may take it later."""

    def __init__(self, what: str, *, is_busy: bool = False) -> None:
        super().__init__(what)
        self.is_busy = is_busy


class DataLogger:
    """Registers of one head, and the run behind them.

    Parameters
    ----------
    head : VirtualHead
        The head that is logged.
    waits : bool
        Whether it waits for its reader when the ring is full, instead of overwriting.
    """

    def __init__(self, head: VirtualHead, *, waits: bool) -> None:
        self.head = head
        self._waits = waits
        self._ring = EMPTY_SLOT * RING_SLOTS
        self._holding = [0] * HOLDING_REGISTERS
        self._program: Program | None = None
        self._program_is_stale = True
        self._state = StandState.IDLE
        self._run_number = 0
        self.blocks_written = 0
        self._samples_taken = 0

    # What a reader sees.

    def read_input(self, address: int, count: int) -> list[int]:
        """Give input registers; the caller keeps inside ``INPUT_REGISTERS``."""
        if address >= RING:
            return self._ring[address - RING : address - RING + count]
        registers = self._header()
        if address + count > RING:
            registers = registers + self._ring[: address + count - RING]
        return registers[address : address + count]

    def read_holding(self, address: int, count: int) -> list[int]:
        """Give holding registers; the caller keeps inside ``HOLDING_REGISTERS``."""
        return self._holding[address : address + count]

    def _header(self) -> list[int]:
        registers = [0] * HEADER_REGISTERS
        flags = StandFlag.SIMULATED | (StandFlag.WANTS_ACKNOWLEDGE if self._waits else 0)
        run = self.head.run
        time_us = run.device_time_us if run is not None else self.head.clock_us
        single = {
            Header.MAGIC: MAGIC,
            Header.PROTOCOL: PROTOCOL,
            Header.FLAGS: int(flags),
            Header.STATE: self._state,
            Header.RUN_NUMBER: self._run_number,
            Header.RECORD_REGISTERS: RECORD_REGISTERS,
            Header.SAMPLES_PER_BLOCK: SAMPLES_PER_BLOCK,
            Header.RING_SLOTS: RING_SLOTS,
            Header.PROGRAM_STATUS: self._program_status(),
        }
        for place, value in single.items():
            registers[place] = int(value)
        wide = [
            (Header.SAMPLE_PERIOD_US, 1_000_000 // SAMPLE_RATE_HZ, 2),
            (Header.BLOCKS_WRITTEN, self.blocks_written, 2),
            (Header.DEVICE_TIME_US, time_us, 4),
        ]
        for place, value, size in wide:
            registers[place : place + size] = words(value, size)
        registers[Header.IDENTITY :] = _identity(self.head.spec)
        return registers

    # What a reader may do.

    def write(self, address: int, values: list[int]) -> None:
        """Take holding registers, and act on a command.

        Raises
        ------
        RefusedWriteError
            If a command is unknown, comes at the wrong time, or has no program to start.
        """
        end = address + len(values)
        if address <= HOLDING_COMMAND < end:
            self._obey(values[HOLDING_COMMAND - address])
        self._holding[address:end] = values
        if end > HOLDING_PROGRAM_LENGTH:
            self._program_is_stale = True

    def _obey(self, command: int) -> None:
        run = self.head.run
        if command == Command.START:
            self._start()
        elif command == Command.STOP:
            if run is not None:
                run.controller.press_stop(run.now)
        elif command == Command.SERVICE:
            if run is not None:
                raise RefusedWriteError("a turning head takes no service", is_busy=True)
            self.head.service()
        elif command != 0:
            raise RefusedWriteError(f"there is no command {command}")

    def _start(self) -> None:
        if self.head.run is not None and not self.is_held_up:
            raise RefusedWriteError("the head runs already", is_busy=True)
        self._read_program()
        if self._program is None:
            raise RefusedWriteError("there is no program that this head can run")
        self.head.finish()  # a run that waits for a reader who has gone is given up
        self.head.start(self._program)
        self._ring = EMPTY_SLOT * RING_SLOTS
        self._holding[HOLDING_ACKNOWLEDGE : HOLDING_ACKNOWLEDGE + 2] = [0, 0]
        self._state, self._run_number = StandState.RUNNING, self._program.run_number
        self.blocks_written = self._samples_taken = 0

    def _program_status(self) -> int:
        """Give 0 without a program, 1 for one that the head can run, 2 for one that it cannot."""
        if self._holding[HOLDING_PROGRAM_LENGTH] == 0:
            return 0
        self._read_program()
        return 1 if self._program is not None else 2

    def _read_program(self) -> None:
        """Read the program again when its registers were written since."""
        if not self._program_is_stale:
            return
        self._program_is_stale = False
        self._program = None
        length = self._holding[HOLDING_PROGRAM_LENGTH]
        text = b"".join(word.to_bytes(2, "big") for word in self._holding[HOLDING_PROGRAM:])
        try:
            program = Program.model_validate_json(text[:length], strict=False)
        except ValidationError:
            return
        if self.head.refusal(program) is None:
            self._program = program

    # What the logger does by itself.

    @property
    def is_running(self) -> bool:
        """Whether a run is on."""
        return self.head.run is not None

    @property
    def is_held_up(self) -> bool:
        """Whether the ring is full of blocks that nobody has read yet."""
        high, low = self._holding[HOLDING_ACKNOWLEDGE : HOLDING_ACKNOWLEDGE + 2]
        return self._waits and self.blocks_written - (high << 16 | low) >= RING_SLOTS

    @property
    def elapsed_s(self) -> float:
        """Time since the first sample of the run, in seconds; 0 between runs."""
        return self.head.run.now if self.head.run is not None else 0.0

    def step(self) -> None:
        """Simulate one block, write it to the ring, and close the run after its last."""
        run = self.head.run
        if run is None:
            return
        is_lost, device_time = run.is_losing_blocks, run.device_time_us
        samples = [run.sample() for _ in range(SAMPLES_PER_BLOCK)]
        block = [
            *words(self.blocks_written, 2),
            *words(self._samples_taken, 2),
            *words(device_time, 4),
            self._run_number,
            SAMPLES_PER_BLOCK,
            *(register for sample in samples for register in sample),
        ]
        slot = self.blocks_written % RING_SLOTS * BLOCK_REGISTERS
        self._ring[slot : slot + BLOCK_REGISTERS] = EMPTY_SLOT if is_lost else block
        self.blocks_written += 1
        self._samples_taken += SAMPLES_PER_BLOCK
        if run.is_over:
            self.head.finish()
            self._state = StandState.FINISHED


def words(value: int, count: int) -> list[int]:
    """Split a value into registers, high word first."""
    return [value >> 16 * place & 0xFFFF for place in reversed(range(count))]


def _identity(spec: HeadSpec) -> list[int]:
    """Give the identity text, two ASCII characters to a register, padded with zeros."""
    text = f"VIRTUAL STAND {spec.designation}".encode("ascii", "replace")
    padded = text[: 2 * IDENTITY_REGISTERS].ljust(2 * IDENTITY_REGISTERS, b"\0")
    return [int.from_bytes(padded[i : i + 2], "big") for i in range(0, len(padded), 2)]
