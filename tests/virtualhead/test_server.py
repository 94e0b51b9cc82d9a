"""The stand over the wire: what arrives is what was simulated, and nothing brings it down."""

import os
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import Iterator

import pytest
from pymodbus.client import ModbusTcpClient
from tests.demo_files import LOWER, UPPER
from tests.virtualhead.runs import fault, program, step

from spinproof.files.canonical import canonical_json
from spinproof.model.errors import PortInUseError, StandError
from spinproof.model.program import FaultKind, Program
from spinproof.model.recipe import Recipe, StepKind
from spinproof.model.registers import (
    BLOCK_REGISTERS,
    HOLDING_ACKNOWLEDGE,
    HOLDING_COMMAND,
    HOLDING_PROGRAM,
    HOLDING_PROGRAM_LENGTH,
    RING,
    RING_SLOTS,
    Command,
    Header,
    StandFlag,
    StandState,
)
from spinproof.virtualhead.head import VirtualHead, simulate
from spinproof.virtualhead.process_host import StandProcess
from spinproof.virtualhead.server import serve_stand

QUICK = Recipe(name="quick", steps=(step(StepKind.RINSE, 8.0, 200.0, water=True),))


class Reader:
    """A plain Modbus reader of one head."""

    def __init__(self, port: int, unit: int) -> None:
        self.client = ModbusTcpClient("127.0.0.1", port=port, timeout=10)
        assert self.client.connect()
        self.unit = unit

    def read(self, address: int, count: int) -> list[int]:
        """Read input registers."""
        reply = self.client.read_input_registers(address, count=count, device_id=self.unit)
        assert not reply.isError(), reply
        return reply.registers

    def write(self, address: int, values: list[int]) -> None:
        """Write holding registers, in as many requests as it takes."""
        for i in range(0, len(values), 123):
            part = values[i : i + 123]
            reply = self.client.write_registers(address + i, part, device_id=self.unit)
            assert not reply.isError(), reply

    def start(self, plan: Program) -> None:
        """Load a program and start it."""
        text = canonical_json(plan.to_document())
        padded = text + b"\0" * (len(text) % 2)
        self.write(HOLDING_PROGRAM, list(struct.unpack(f">{len(padded) // 2}H", padded)))
        self.write(HOLDING_PROGRAM_LENGTH, [len(text)])
        assert self.read(0, RING)[Header.PROGRAM_STATUS] == 1
        self.write(HOLDING_COMMAND, [Command.START])

    def blocks(self) -> Iterator[list[int]]:
        """Read and acknowledge blocks until the run is over."""
        number = 0
        while True:
            header = self.read(0, RING)
            written = header[Header.BLOCKS_WRITTEN] << 16 | header[Header.BLOCKS_WRITTEN + 1]
            while number < written:
                yield self.read(RING + number % RING_SLOTS * BLOCK_REGISTERS, BLOCK_REGISTERS)
                number += 1
            self.write(HOLDING_ACKNOWLEDGE, [number >> 16, number & 0xFFFF])
            if header[Header.STATE] == StandState.FINISHED:
                return

    def records(self) -> list[list[int]]:
        """Read the run that is on, as sample records."""
        return [
            block[10 + 23 * i : 33 + 23 * i] for block in self.blocks() for i in range(block[9])
        ]


@pytest.fixture(scope="module")
def stand() -> Iterator[StandProcess]:
    with StandProcess((UPPER, LOWER)) as process:
        yield process


@pytest.fixture
def lower(stand: StandProcess) -> Iterator[Reader]:
    reader = Reader(stand.port, 2)
    yield reader
    reader.client.close()


@pytest.fixture
def upper(stand: StandProcess) -> Iterator[Reader]:
    reader = Reader(stand.port, 1)
    yield reader
    reader.client.close()


def columns(records: list[list[int]]) -> list[list[int]]:
    """Drop counters and edges, which go on from run to run."""
    return [record[6:] for record in records]


def test_a_run_over_the_wire_is_the_run_that_was_simulated(lower):
    plan = program(recipe=QUICK, run_number=3)
    lower.start(plan)
    arrived = columns(lower.records())
    simulated = columns(list(simulate(VirtualHead(LOWER), plan)))

    assert arrived[: len(simulated)] == simulated
    assert len(arrived) - len(simulated) < 5


def test_two_heads_run_at_the_same_time_and_do_not_mix(lower, upper):
    ours, theirs = program(recipe=QUICK, seed=5), program(recipe=QUICK, seed=6, run_number=9)
    lower.start(ours)
    upper.start(theirs)
    got_upper, got_lower = upper.records(), lower.records()

    want = columns(list(simulate(VirtualHead(LOWER), ours)))
    assert columns(got_lower)[: len(want)] == want
    want = columns(list(simulate(VirtualHead(UPPER), theirs)))
    assert columns(got_upper)[: len(want)] == want


def test_the_wear_of_one_head_is_not_the_others(lower, upper):
    lower.start(program(fault(FaultKind.TACH_GAP_CREEP, 2.0), recipe=QUICK))
    lower.records()
    upper.start(program(recipe=QUICK))
    assert all(record[8] & 1 << 11 == 0 for record in upper.records())
    lower.start(program(recipe=QUICK))
    assert any(record[8] & 1 << 11 for record in lower.records())
    lower.write(HOLDING_COMMAND, [Command.SERVICE])
    lower.start(program(recipe=QUICK))
    assert all(record[8] & 1 << 11 == 0 for record in lower.records())


def test_a_fast_stand_asks_to_be_acknowledged(lower):
    flags = lower.read(0, RING)[Header.FLAGS]

    assert flags == StandFlag.SIMULATED | StandFlag.WANTS_ACKNOWLEDGE


@pytest.mark.parametrize(
    ("request_it", "code"),
    [
        (lambda c: c.read_input_registers(RING + RING_SLOTS * 125, count=1, device_id=2), 2),
        (lambda c: c.read_input_registers(RING + RING_SLOTS * 125 - 5, count=9, device_id=2), 2),
        (lambda c: c.read_holding_registers(5000, count=1, device_id=2), 2),
        (lambda c: c.write_registers(5000, [1], device_id=2), 2),
        (lambda c: c.write_registers(HOLDING_COMMAND, [99], device_id=2), 3),
        (lambda c: c.read_coils(0, count=1, device_id=2), 1),
        (lambda c: c.write_coil(0, value=True, device_id=2), 1),
        (lambda c: c.read_discrete_inputs(0, count=1, device_id=2), 1),
        (lambda c: c.read_input_registers(0, count=4, device_id=3), 11),
        (lambda c: c.write_registers(HOLDING_COMMAND, [1], device_id=77), 11),
    ],
    ids=[
        "beyond the ring",
        "across its end",
        "holding registers beyond",
        "a write beyond",
        "an unknown command",
        "coils",
        "a write to a coil",
        "discrete inputs",
        "another unit",
        "a command to another unit",
    ],
)
def test_requests_outside_the_map_are_answered_with_an_exception(lower, request_it, code):
    assert request_it(lower.client).exception_code == code
    assert lower.read(0, 2)[0] == 0x5350


@pytest.mark.parametrize(
    "rubbish",
    [
        b"GET / HTTP/1.1\r\n\r\n",
        b"\0" * 300,
        b"\xff" * 300,
        bytes.fromhex("000100000006026300000001"),  # a function that does not exist
        bytes.fromhex("00010000000602040000ffff"),  # 65535 registers at once
        bytes.fromhex("0001000000090210000200010000"),  # a write cut off
    ],
)
def test_rubbish_on_the_line_does_not_bring_the_stand_down(stand, lower, rubbish):
    with socket.create_connection(("127.0.0.1", stand.port)) as line:
        line.sendall(rubbish)

    assert lower.read(0, 2)[0] == 0x5350


def test_a_reader_that_dies_in_mid_run_does_not_spoil_the_stand(stand, lower):
    dying = Reader(stand.port, 2)
    dying.start(program(recipe=QUICK))
    dying.client.close()

    assert len(lower.records()) > 300
    lower.start(program(recipe=QUICK))
    assert len(lower.records()) > 300


def test_a_port_in_use_is_named_with_what_to_do(stand):
    with pytest.raises(PortInUseError, match=f"127.0.0.1:{stand.port}.*another port"):
        serve_stand((LOWER,), "127.0.0.1", stand.port)
    with pytest.raises(PortInUseError), StandProcess((LOWER,), port=stand.port):
        pass


def test_an_address_of_another_machine_is_refused():
    with pytest.raises(StandError, match="an address of this machine"):
        serve_stand((LOWER,), "192.0.2.1", 0)


def test_a_stand_that_keeps_a_pace_gives_the_same_run():
    plan = program(recipe=QUICK)
    with StandProcess((LOWER,), speed_up=400.0) as process:
        reader = Reader(process.port, 1)
        reader.start(plan)
        arrived = columns(reader.records())
        reader.client.close()

    simulated = columns(list(simulate(VirtualHead(LOWER), plan)))
    assert arrived[: len(simulated)] == simulated


def test_a_stand_in_real_time_gives_no_block_ahead_of_its_time():
    with StandProcess((LOWER,), speed_up=1.0) as process:
        reader = Reader(process.port, 1)
        reader.start(program(recipe=QUICK))
        header = reader.read(0, RING)
        reader.client.close()

    assert header[Header.FLAGS] == StandFlag.SIMULATED
    assert header[Header.STATE] == StandState.RUNNING
    assert header[Header.BLOCKS_WRITTEN + 1] < RING_SLOTS


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_stops_the_stand_cleanly(number):
    code = (
        "from spinproof.virtualhead.server import serve_stand;"
        "from tests.demo_files import LOWER;"
        "serve_stand((LOWER,), on_ready=lambda port: print(port, flush=True))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as stand:
        assert int(stand.stdout.readline()) > 0
        os.kill(stand.pid, number)
        rest, complaints = stand.communicate(timeout=30)

    assert (stand.returncode, rest, complaints) == (0, "", "")


def test_the_child_stops_when_its_parent_lets_go():
    with StandProcess((LOWER,)) as process:
        child = process.pid
        os.kill(child, 0)

    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


def test_the_child_stops_when_its_parent_is_killed():
    """The child holds the parent's error stream: it reaches its end when both are gone."""
    code = (
        "import sys;"
        "from spinproof.virtualhead.process_host import StandProcess;"
        "from tests.demo_files import LOWER;"
        "stand = StandProcess((LOWER,)).__enter__();"
        "print(stand.port, flush=True);"
        "sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as parent:
        assert int(parent.stdout.readline()) > 0
        parent.kill()
        _, complaints = parent.communicate(timeout=30)

    assert complaints == ""
