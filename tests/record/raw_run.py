"""A run to record: its header, raw blocks, journals."""

import struct

import numpy as np
from tests.demo_files import CR_1, LOWER, LOWER_CHANNELS, PARTIAL_LOAD

from spinproof.model.run import Ending, Purpose, RunHeader
from spinproof.record.blocks import RecordLayout
from spinproof.record.journal import JournalWriter, Opening

LAYOUT = RecordLayout(record_registers=23, samples_per_block=5, sample_period_us=50_000)
BLOCK_NS = 250_000_000
RUN = 17


def demo_header():
    return RunHeader(
        run="QA-1041-L-017",
        purpose=Purpose.BURN_IN,
        recipe=CR_1,
        head=LOWER,
        load=PARTIAL_LOAD,
        channel_map=LOWER_CHANNELS,
        started_at="2031-03-19T10:00:00.000Z",
        source="modbus-tcp",
        stand_identity="virtual stand, head QM-207-L",
        simulated=True,
        recorder_version="spinproof 0.1.0",
    )


def make_records(rows):
    """Give quiet records: six pulses a sample, steady readings, the sample's number at the end."""
    records = np.zeros((rows.size, LAYOUT.record_registers), dtype=np.int64)
    records[:, 0] = 6 * rows % 65_536
    records[:, 6] = 450 + rows % 3
    records[:, 7] = 1
    records[:, 8] = 0x03FF
    records[:, 9:18] = 1000 + rows[:, None] % 7
    records[:, 22] = rows % 65_536
    return records


def make_block(number, *, run=RUN, samples=5, clock_us=0, first_sample=None):
    """Give a raw block; its clock may be off by some microseconds."""
    first = 5 * number if first_sample is None else first_sample
    records = make_records(first + np.arange(5))
    head = struct.pack(">IIQHH", number, first, first * 50_000 + clock_us, run, samples)
    return head + records.astype(">u2").tobytes()


def write_journal(path, header, payloads, *, ending=Ending.COMPLETE, step_ns=BLOCK_NS):
    """Write a journal whose blocks come a quarter of a second apart; unclosed without ending."""
    opening = Opening(header=header, run_number=RUN, layout=LAYOUT)
    with JournalWriter(path, opening, 0) as writer:
        for i, payload in enumerate(payloads):
            writer.append_block(payload, i * step_ns)
            writer.keep_durable(i * step_ns)
            writer.wait_durable()
        if ending is not None:
            writer.close(ending, len(payloads) * step_ns)
    return path
