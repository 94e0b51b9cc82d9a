"""The connection to a stand: what it refuses, and that it only reads."""

import socket
import struct

import pytest
from pymodbus.constants import ExcCodes
from tests.demo_files import CR_1, LOWER_CHANNELS, PARTIAL_LOAD
from tests.record.fake_stand import FakeStand, serving
from tests.record.raw_run import RUN, make_block

from spinproof.model.errors import DocumentError, StandError
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.registers import (
    BLOCK_REGISTERS,
    HOLDING_COMMAND,
    HOLDING_PROGRAM_LENGTH,
    RING_SLOTS,
    Command,
    Header,
    StandFlag,
    StandState,
)
from spinproof.record.stand import ModbusStand

PROGRAM = Program(
    run_number=RUN,
    seed=1,
    recipe=CR_1,
    load=PARTIAL_LOAD,
    faults=(Fault(kind=FaultKind.UNBALANCE, size=100.0),),
)


@pytest.fixture
def fake():
    with serving(FakeStand()) as stand:
        yield stand


def connect(fake, channel_map=LOWER_CHANNELS, **options):
    return ModbusStand("127.0.0.1", fake.port, channel_map, **options)


@pytest.fixture
def stand(fake):
    with connect(fake) as stand:
        yield stand


def test_a_stand_says_who_it_is_and_how_it_packs_its_samples(stand):
    assert stand.identity == "virtual stand, head QM-207-L"
    assert stand.simulated
    assert stand.wants_acknowledge
    assert stand.layout.block_registers == BLOCK_REGISTERS
    assert stand.ring_slots == RING_SLOTS


def test_state_run_and_number_of_blocks_are_one_read(fake, stand):
    reads = []
    fake.on_read = lambda address, count: reads.append((address, count))
    fake.begin(RUN)
    fake.count(70_000)

    status = stand.status()

    assert (status.state, status.run_number) == (StandState.RUNNING, RUN)
    assert status.blocks_written == 70_000
    assert reads == [(0, 64)]


def test_a_block_is_one_read_and_comes_as_it_was_sent(fake, stand):
    reads = []
    fake.on_read = lambda _address, count: reads.append(count)
    payload = make_block(RING_SLOTS + 3)
    fake.put(3, payload)

    assert stand.read_block(RING_SLOTS + 3) == payload
    assert reads == [BLOCK_REGISTERS]


def test_a_block_that_was_overwritten_is_none(fake, stand):
    fake.put(3, make_block(RING_SLOTS + 3))

    assert stand.read_block(3) is None


@pytest.mark.parametrize("samples", [0, 6])
def test_a_block_with_an_impossible_number_of_samples_is_nonsense(fake, stand, samples):
    fake.put(3, make_block(3, samples=samples))

    with pytest.raises(StandError, match=f"claims {samples} samples"):
        stand.read_block(3)


WRONG_HEADERS = {
    "another device": (Header.MAGIC, 0x1234, "no test stand: it begins with 0x1234"),
    "another protocol": (Header.PROTOCOL, 2, "speaks protocol 2, the recorder 1"),
    "no samples": (Header.SAMPLES_PER_BLOCK, 0, "is zero"),
    "blocks too long": (Header.RECORD_REGISTERS, 24, "its blocks have 130 registers"),
    "no ring": (Header.RING_SLOTS, 0, "answers nonsense"),
}


@pytest.mark.parametrize(("at", "value", "words"), WRONG_HEADERS.values(), ids=WRONG_HEADERS)
def test_a_wrong_header_is_refused(fake, at, value, words):
    fake.set(at, value)

    with pytest.raises(StandError, match=words) as caught:
        connect(fake)

    assert caught.value.where == f"127.0.0.1:{fake.port}, unit 2"


def test_a_record_that_the_map_does_not_fit_is_refused(fake):
    fake.set(Header.RECORD_REGISTERS, 15)

    with pytest.raises(DocumentError, match="ends at register 15"):
        connect(fake)


@pytest.mark.parametrize(
    "identity", ["virtual stand, head QM-207-U", "QM-207-L2", "xQM-207-L", "", "qm-207-l"]
)
def test_another_head_is_refused(fake, identity):
    fake.identify(identity)

    with pytest.raises(StandError, match="this unit is another head") as caught:
        connect(fake)

    assert "QM-207-L" in caught.value.what
    assert "unit_id" in caught.value.mend


def test_a_state_that_nobody_knows_is_nonsense(fake, stand):
    fake.set(Header.STATE, 9)

    with pytest.raises(StandError, match="its state is 9"):
        stand.status()


def test_an_exception_of_the_device_is_an_error(fake, stand):
    fake.on_read = lambda _address, _count: ExcCodes.DEVICE_BUSY

    with pytest.raises(StandError, match="refuses reading register 0, with exception 6"):
        stand.status()


def test_a_unit_that_does_not_exist_is_an_error(fake):
    other = LOWER_CHANNELS.model_copy(update={"unit_id": 9})

    with pytest.raises(StandError, match="unit 9"):
        connect(fake, other, timeout_s=0.2, retries=0)


def test_nobody_listening_is_an_error_that_names_the_address():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    with pytest.raises(StandError, match="cannot be reached") as caught:
        ModbusStand("127.0.0.1", port, LOWER_CHANNELS)

    assert caught.value.where == f"127.0.0.1:{port}, unit 2"


def test_a_listener_that_never_answers_is_given_up_after_the_timeout():
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        port = silent.getsockname()[1]
        with pytest.raises(StandError, match="does not answer while reading register 0"):
            ModbusStand("127.0.0.1", port, LOWER_CHANNELS, timeout_s=0.05, retries=1)


def test_blocks_are_acknowledged_only_to_a_stand_that_wants_it(fake, stand):
    stand.acknowledge(70_000)
    assert fake.acknowledged == 70_000

    fake.written.clear()
    fake.set(Header.FLAGS, StandFlag.SIMULATED)
    stand.reconnect()
    stand.acknowledge(80_000)
    assert fake.written == {}


def test_a_program_arrives_as_it_was_written(fake, stand):
    stand.load_program(PROGRAM)
    stand.start()

    assert Program.model_validate_json(fake.program_text(), strict=False) == PROGRAM
    assert fake.written[HOLDING_COMMAND] == Command.START


def test_a_program_that_the_stand_refuses_is_an_error(fake, stand):
    fake.accepts = False

    with pytest.raises(StandError, match="does not accept the program"):
        stand.load_program(PROGRAM)


def test_a_program_that_is_too_long_is_refused_before_anything_is_written(fake, stand):
    faults = (Fault(kind=FaultKind.UNBALANCE, size=100.0),) * 300

    with pytest.raises(StandError, match="the stand takes 8192"):
        stand.load_program(PROGRAM.model_copy(update={"faults": faults}))

    assert fake.written == {}


@pytest.mark.parametrize("write", ["start", "stop", "service", "load_program"])
def test_nothing_is_ever_written_to_a_real_machine(fake, write):
    fake.set(Header.FLAGS, 0)
    with connect(fake) as stand:
        arguments = [PROGRAM] if write == "load_program" else []
        with pytest.raises(StandError, match="never writes to a real machine"):
            getattr(stand, write)(*arguments)
        stand.acknowledge(5)

    assert fake.written == {}


def test_a_late_answer_is_never_taken_for_the_next(fake):
    """The first answer comes after its timeout; the next question must not meet it."""
    fake.put(1, make_block(1))
    fake.put(2, make_block(2))
    with connect(fake, timeout_s=0.2, retries=0) as stand:
        fake.delay_s = 0.3
        with pytest.raises(StandError):
            stand.read_block(1)
        fake.delay_s = 0.0
        stand.reconnect()

        assert struct.unpack(">I", stand.read_block(2)[:4]) == (2,)


def test_commands_have_the_published_numbers(fake, stand):
    for command, number in ((stand.start, 1), (stand.stop, 2), (stand.service, 3)):
        command()
        assert fake.written[HOLDING_COMMAND] == number


def test_the_length_of_a_program_is_written_last(fake, stand):
    order = []
    fake.on_write = order.append
    stand.load_program(PROGRAM)

    assert order[-1] == HOLDING_PROGRAM_LENGTH
    assert len(order) > 2
