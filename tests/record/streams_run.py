"""Streams to record: a map, sources that a test feeds, journals of streams."""

import threading
import time

import numpy as np
from tests.demo_files import CR_1
from tests.record.raw_run import demo_header

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.run import Ending
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.record.journal import JournalWriter, Opening
from spinproof.record.stream_block import StreamBlock

FAST_HZ = 2000.0
SLOW_HZ = 100.0
BLOCK_S = 0.25


def channel(name, column, *, rate_hz, role=Role.OTHER, unit="1", kind=CountType.I16, scale=1.0):
    return Channel(
        name=name,
        role=role,
        first_register=column,
        type=kind,
        scale=scale,
        unit=unit,
        sample_rate_hz=rate_hz,
        pulses_per_rev=1 if role in {Role.TACH_COUNT, Role.OPTICAL_COUNT} else None,
        instrument=Instrument(name="AC-1", standard_uncertainty=0.0),
    )


FAST = StreamSpec(
    name="accelerometer",
    source=SourceKind.MQTT,
    address="127.0.0.1:1883",
    topic="lower/acceleration",
    sample_rate_hz=FAST_HZ,
    channels=(
        channel("a vertical", 0, rate_hz=FAST_HZ, role=Role.ACCELERATION_VERTICAL, unit="m/s2"),
        channel("a axial", 1, rate_hz=FAST_HZ, role=Role.ACCELERATION_AXIAL, unit="m/s2"),
    ),
)
SLOW = StreamSpec(
    name="thermometers",
    source=SourceKind.MQTT,
    address="127.0.0.1:1883",
    topic="lower/temperatures",
    sample_rate_hz=SLOW_HZ,
    channels=(
        channel("T bowl", 0, rate_hz=SLOW_HZ, role=Role.BOWL_TEMPERATURE, unit="degC"),
        channel("controller rpm", 1, rate_hz=SLOW_HZ, role=Role.DISPLAY_SPEED, unit="rpm"),
    ),
)
CHANGES = StreamSpec(
    name="controller",
    source=SourceKind.OPC_UA,
    address="opc.tcp://127.0.0.1:4840",
    sample_rate_hz=10.0,
    is_regular=False,
    channels=(
        channel("recipe step", 0, rate_hz=10.0, role=Role.STEP, kind=CountType.U16),
        channel("T seal", 1, rate_hz=10.0, role=Role.SEAL_TEMPERATURE, unit="degC",
                kind=CountType.F64),
    ),
)  # fmt: skip


def header_with(*streams, stand=False):
    """Give the header of a run with streams, beside the stand's channels or alone."""
    header = demo_header()
    channels = header.channel_map.channels if stand else ()
    taken = {c.role for c in channels}
    streams = tuple(
        s.model_copy(
            update={
                "channels": tuple(
                    c.model_copy(update={"role": Role.OTHER}) if c.role in taken else c
                    for c in s.channels
                )
            }
        )
        for s in streams
    )
    channel_map = ChannelMap(
        name="lower head",
        head=header.head.designation,
        unit_id=2,
        channels=channels,
        streams=streams,
    )
    update = {"channel_map": channel_map, "recipe": CR_1, "source": "streams"}
    return header.model_copy(update=update)


def counts_of(spec, first, samples):
    """Give counts that tell their own number, so that a test sees each lost one."""
    numbers = np.arange(first, first + samples)
    columns = [(numbers + 7 * k) % 20_000 for k in range(len(spec.channels))]
    return np.stack(columns, axis=1).astype(np.int16)


def stream_block(spec, sequence, *, arrival_s=None, first=None, samples=None, delay_s=0.003,
                 device_s=None, counts=None, times_ns=None):  # fmt: skip
    """Give a block of a regular stream that arrives some milliseconds after its last sample."""
    samples = round(BLOCK_S * spec.sample_rate_hz) if samples is None else samples
    first = sequence * samples if first is None else first
    ready_s = (first + samples) / spec.sample_rate_hz
    arrival_s = ready_s + delay_s if arrival_s is None else arrival_s
    return StreamBlock(
        stream=spec.name,
        sequence=sequence,
        first_sample=first,
        arrival_ns=round(arrival_s * 1e9),
        counts=counts_of(spec, first, samples) if counts is None else counts,
        device_time_ns=None if device_s is None else round(device_s * 1e9),
        times_ns=times_ns,
    )


def write_streams(path, header, items, *, ending=Ending.COMPLETE, layout=None, run_number=0):
    """Write a journal of blocks of streams, and of (registers, arrival) of a stand."""
    opening = Opening(header=header, run_number=run_number, layout=layout)
    with JournalWriter(path, opening, 0) as writer:
        for item in items:
            if isinstance(item, StreamBlock):
                writer.append_stream(item)
            else:
                writer.append_block(item[0], round(item[1] * 1e9))
        if ending is not None:
            writer.close(ending, 0)
    return path


class Fed:
    """A source that gives blocks from a thread of its own, as fast as they are taken."""

    notices = ()

    def __init__(self, spec, blocks, pause_s=0.0):
        self.name = spec.name
        self.done = threading.Event()
        self.stopped = threading.Event()
        self._blocks = blocks
        self._pause_s = pause_s
        self._thread = None

    def start(self, push):
        """Begin to give."""
        self._thread = threading.Thread(target=self._work, args=(push,), daemon=True)
        self._thread.start()

    def stop(self):
        """End."""
        self.stopped.set()
        self._thread.join(10)

    def _work(self, push):
        for block in self._blocks:
            if self.stopped.wait(self._pause_s):
                break
            push(block)
        self.done.set()


def now_s():
    """Give the monotonic time in seconds."""
    return time.monotonic_ns() / 1e9
