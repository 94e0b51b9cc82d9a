"""Runs of the virtual head as sealed traces, in process: simulated, logged, merged, judged."""

import numpy as np
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD

from spinproof.judge.judging import judge
from spinproof.model.judgement import Judgement
from spinproof.model.load import Load
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.recipe import Recipe
from spinproof.model.registers import RECORD_REGISTERS, SAMPLE_RATE_HZ, SAMPLES_PER_BLOCK
from spinproof.model.run import Ending, Purpose, RunHeader
from spinproof.model.trace import Trace
from spinproof.record.blocks import Block, BlockHead, RecordLayout, decode_signals
from spinproof.record.incidents import find_channel_incidents, merge_blocks
from spinproof.virtualhead.head import VirtualHead

LAYOUT = RecordLayout(
    record_registers=RECORD_REGISTERS,
    samples_per_block=SAMPLES_PER_BLOCK,
    sample_period_us=1_000_000 // SAMPLE_RATE_HZ,
)


RECIPE, HEAD, LOAD, CHANNELS = CR_1, LOWER, PARTIAL_LOAD, LOWER_CHANNELS


def fault(kind: FaultKind, size: float = 0.0) -> Fault:
    return Fault(kind=kind, size=size)


def run_trace(
    *faults: Fault,
    recipe: Recipe = RECIPE,
    load: Load = LOAD,
    seed: int = 7,
    head: VirtualHead | None = None,
    run_number: int = 1,
    ending: Ending = Ending.COMPLETE,
) -> Trace:
    """Simulate one run and give it as the recorder would seal it."""
    program = Program(run_number=run_number, seed=seed, recipe=recipe, load=load, faults=faults)
    blocks = list(_blocks(head or VirtualHead(HEAD), program))
    merged = merge_blocks(blocks, run_number, LAYOUT)
    origin = int(merged.sample_numbers[0])
    signals = decode_signals(CHANNELS, LAYOUT, merged.sample_numbers, merged.records, origin)
    header = RunHeader(
        run="QA-1041-L-001",
        purpose=Purpose.BURN_IN,
        recipe=recipe,
        head=HEAD,
        load=load,
        channel_map=CHANNELS,
        started_at="2031-01-01T08:00:00.000Z",
        source="modbus-tcp",
        stand_identity="virtual",
        simulated=True,
        recorder_version="test",
    )
    incidents = (*merged.incidents, *find_channel_incidents(signals, HEAD))
    return Trace(header, signals, incidents, ending, "0" * 64)


def judged(*faults: Fault, recipe: Recipe = RECIPE, load: Load = LOAD, **more) -> Judgement:
    """Simulate one run and judge it by the demo's limits."""
    trace = run_trace(*faults, recipe=recipe, load=load, **more)
    return judge(trace, recipe, HEAD, LIMITS, load)


def _blocks(head: VirtualHead, program: Program):
    """Log a run in blocks of a few samples; those that are overwritten are left out."""
    run = head.start(program)
    number = 0
    while not run.is_over:
        is_lost, clock = run.is_losing_blocks, run.device_time_us
        records = [run.sample() for _ in range(SAMPLES_PER_BLOCK)]
        first = number * SAMPLES_PER_BLOCK
        if not is_lost:
            block_head = BlockHead(number, first, clock, program.run_number, SAMPLES_PER_BLOCK)
            yield Block(block_head, np.array(records, dtype=np.uint16))
        number += 1
    head.finish()
