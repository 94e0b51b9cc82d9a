"""Registers, ring and commands of the stand's logger, without a network."""

import json

import pytest
from tests.demo_files import LOWER
from tests.virtualhead.runs import SHORT, fault, program, step

from spinproof.model.program import FaultKind, Program
from spinproof.model.recipe import Recipe, StepKind
from spinproof.model.registers import (
    BLOCK_REGISTERS,
    HOLDING_ACKNOWLEDGE,
    HOLDING_COMMAND,
    HOLDING_PROGRAM,
    HOLDING_PROGRAM_LENGTH,
    MAGIC,
    PROTOCOL,
    RING,
    RING_SLOTS,
    BlockHead,
    Command,
    Header,
    StandFlag,
    StandState,
)
from spinproof.virtualhead.data_logger import DataLogger, RefusedWriteError, words
from spinproof.virtualhead.head import VirtualHead, simulate


@pytest.fixture
def logger() -> DataLogger:
    return DataLogger(VirtualHead(LOWER), waits=True)


def program_words(text: bytes) -> list[int]:
    padded = text + b"\0" * (len(text) % 2)
    return [int.from_bytes(padded[i : i + 2], "big") for i in range(0, len(padded), 2)]


def load(logger: DataLogger, plan: Program) -> None:
    text = json.dumps(plan.to_document()).encode()
    logger.write(HOLDING_PROGRAM, program_words(text))
    logger.write(HOLDING_PROGRAM_LENGTH, [len(text)])


def start(logger: DataLogger, plan: Program) -> None:
    load(logger, plan)
    logger.write(HOLDING_COMMAND, [Command.START])


def header(logger: DataLogger, place: Header) -> int:
    return logger.read_input(0, RING)[place]


def wide(registers: list[int], place: int, count: int = 2) -> int:
    value = 0
    for register in registers[place : place + count]:
        value = value << 16 | register
    return value


def block(logger: DataLogger, number: int) -> list[int]:
    return logger.read_input(RING + number % RING_SLOTS * BLOCK_REGISTERS, BLOCK_REGISTERS)


def play(logger: DataLogger) -> list[list[int]]:
    """Let the run play to its end, with a reader that keeps up."""
    blocks = []
    while logger.is_running:
        logger.step()
        blocks.append(block(logger, len(blocks)))
        logger.write(HOLDING_ACKNOWLEDGE, words(len(blocks), 2))
    return blocks


def test_the_header_says_what_the_stand_is(logger):
    registers = logger.read_input(0, RING)
    text = b"".join(word.to_bytes(2, "big") for word in registers[Header.IDENTITY :])

    assert registers[Header.MAGIC] == MAGIC
    assert registers[Header.PROTOCOL] == PROTOCOL
    assert registers[Header.FLAGS] == StandFlag.SIMULATED | StandFlag.WANTS_ACKNOWLEDGE
    assert registers[Header.STATE] == StandState.IDLE
    assert registers[Header.RING_SLOTS] == RING_SLOTS
    assert wide(registers, Header.SAMPLE_PERIOD_US) == 50_000
    assert wide(registers, Header.DEVICE_TIME_US, 4) == 3_600_000_000
    assert text.rstrip(b"\0") == b"VIRTUAL STAND QM-207-L"


def test_a_real_time_stand_is_simulated_all_the_same_but_waits_for_nobody():
    logger = DataLogger(VirtualHead(LOWER), waits=False)

    assert header(logger, Header.FLAGS) == StandFlag.SIMULATED


@pytest.mark.parametrize("length_first", [False, True])
def test_a_program_is_accepted_in_whichever_order_it_is_written(logger, length_first):
    text = json.dumps(program().to_document()).encode()
    writes = [(HOLDING_PROGRAM, program_words(text)), (HOLDING_PROGRAM_LENGTH, [len(text)])]
    assert header(logger, Header.PROGRAM_STATUS) == 0
    for address, values in reversed(writes) if length_first else writes:
        logger.write(address, values)
        header(logger, Header.PROGRAM_STATUS)

    assert header(logger, Header.PROGRAM_STATUS) == 1


@pytest.mark.parametrize(
    "text",
    [b"{", b"\xff\xfe\xfd", b"[]", b'{"run_number": 1}'],
    ids=["cut off", "no text", "no program", "half a program"],
)
def test_nonsense_is_refused_as_a_program_and_starts_nothing(logger, text):
    logger.write(HOLDING_PROGRAM, program_words(text))
    logger.write(HOLDING_PROGRAM_LENGTH, [len(text)])

    assert header(logger, Header.PROGRAM_STATUS) == 2
    with pytest.raises(RefusedWriteError, match="no program"):
        logger.write(HOLDING_COMMAND, [Command.START])
    assert not logger.is_running


def test_a_program_beyond_the_head_is_refused(logger):
    load(logger, program(recipe=Recipe(name="fast", steps=(step(StepKind.DRY, 9.0, 2500.0),))))

    assert header(logger, Header.PROGRAM_STATUS) == 2


def test_blocks_hold_the_samples_of_the_run_in_order(logger):
    start(logger, program())
    blocks = play(logger)
    records = list(simulate(VirtualHead(LOWER), program()))

    sampled = [
        got[10 + 23 * i : 33 + 23 * i] for got in blocks for i in range(got[BlockHead.SAMPLES])
    ]
    assert sampled[: len(records)] == records
    assert 0 <= len(sampled) - len(records) < 5
    assert [wide(got, BlockHead.NUMBER) for got in blocks] == list(range(len(blocks)))
    assert [wide(got, BlockHead.FIRST_SAMPLE) for got in blocks] == list(
        range(0, 5 * len(blocks), 5)
    )
    times = [wide(got, BlockHead.DEVICE_TIME_US, 4) for got in blocks]
    assert times == [3_600_000_000 + 250_000 * number for number in range(len(blocks))]


def test_the_stand_says_when_it_runs_and_when_it_has_finished(logger):
    start(logger, program(run_number=17))
    assert header(logger, Header.STATE) == StandState.RUNNING
    assert header(logger, Header.RUN_NUMBER) == 17
    blocks = play(logger)

    assert header(logger, Header.STATE) == StandState.FINISHED
    assert wide(logger.read_input(0, RING), Header.BLOCKS_WRITTEN) == len(blocks)
    logger.step()
    assert wide(logger.read_input(0, RING), Header.BLOCKS_WRITTEN) == len(blocks)


def test_a_full_ring_waits_for_its_reader(logger):
    start(logger, program())
    for _ in range(RING_SLOTS):
        assert not logger.is_held_up
        logger.step()
    assert logger.is_held_up

    logger.write(HOLDING_ACKNOWLEDGE, words(1, 2))
    assert not logger.is_held_up
    logger.write(HOLDING_ACKNOWLEDGE, words(0xFFFFFFFF, 2))
    play(logger)
    assert not logger.is_running


def test_a_real_time_ring_overwrites_its_oldest_block():
    logger = DataLogger(VirtualHead(LOWER), waits=False)
    start(logger, program())
    for _ in range(RING_SLOTS + 3):
        logger.step()

    assert not logger.is_held_up
    assert wide(block(logger, 2), BlockHead.NUMBER) == RING_SLOTS + 2
    assert wide(block(logger, 3), BlockHead.NUMBER) == 3


def test_lost_blocks_are_numbered_but_never_readable(logger):
    start(logger, program(fault(FaultKind.LOST_BLOCKS, 7)))
    blocks = play(logger)
    lost = [i for i, got in enumerate(blocks) if wide(got, BlockHead.NUMBER) != i]

    assert len(lost) == 7
    assert lost == list(range(lost[0], lost[0] + 7))
    after = blocks[lost[-1] + 1]
    assert wide(after, BlockHead.FIRST_SAMPLE) == 5 * (lost[-1] + 1)


def test_the_next_run_begins_with_an_empty_ring(logger):
    start(logger, program())
    play(logger)
    start(logger, program(run_number=2))
    logger.step()

    assert wide(block(logger, 0), BlockHead.NUMBER) == 0
    assert block(logger, 0)[BlockHead.RUN_NUMBER] == 2
    assert wide(block(logger, 1), BlockHead.NUMBER) == 0xFFFFFFFF


def test_a_running_head_takes_neither_start_nor_service(logger):
    start(logger, program())
    for command in (Command.START, Command.SERVICE):
        with pytest.raises(RefusedWriteError) as caught:
            logger.write(HOLDING_COMMAND, [command])
        assert caught.value.is_busy


def test_a_run_whose_reader_has_gone_gives_way_to_the_next(logger):
    start(logger, program(run_number=4))
    while not logger.is_held_up:
        logger.step()
    start(logger, program(run_number=5))
    blocks = play(logger)

    assert {got[BlockHead.RUN_NUMBER] for got in blocks} == {5}
    assert len(blocks) > RING_SLOTS


def test_an_unknown_command_is_refused(logger):
    with pytest.raises(RefusedWriteError, match="no command 77"):
        logger.write(HOLDING_COMMAND, [77])


def test_stop_ends_the_run_early_and_service_mends_the_wear(logger):
    start(logger, program(fault(FaultKind.TACH_GAP_CREEP, 0.1), recipe=SHORT))
    for _ in range(80):
        logger.step()
    logger.write(HOLDING_COMMAND, [Command.STOP])
    blocks = play(logger)

    assert 80 + len(blocks) < 400
    assert logger.head.wear.gap_mm == pytest.approx(0.1)
    logger.write(HOLDING_COMMAND, [Command.SERVICE])
    assert logger.head.wear.gap_mm == 0.0


def test_stop_between_runs_does_nothing(logger):
    logger.write(HOLDING_COMMAND, [Command.STOP])

    assert header(logger, Header.STATE) == StandState.IDLE


def test_reads_may_straddle_header_and_ring(logger):
    start(logger, program())
    logger.step()

    assert logger.read_input(60, 10) == logger.read_input(60, 4) + logger.read_input(64, 6)
