"""Recording many channels in real time. Run with ``make bench``, or for long with ``--minutes``.

200 slow channels at 100 Hz and 6 fast ones at 25.6 kHz come from another process in real time;
they are recorded, sealed, read back and compared sample by sample.
"""

import argparse
import multiprocessing
import os
import resource
import struct
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.run import Purpose, RunHeader
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.model.trace import Trace
from spinproof.record.fast_file import verified
from spinproof.record.journal import JournalWriter
from spinproof.record.recorder import Pace, record_run
from spinproof.record.sources.source import Push
from spinproof.record.stream_block import StreamBlock
from spinproof.record.trace_file import seal_journal

SLOW_HZ, SLOW_CHANNELS, SLOW_BLOCK = 100.0, 200, 1
FAST_HZ, FAST_CHANNELS, FAST_BLOCK = 25_600.0, 6, 2560
COUNT = 0.003
"""Acceleration of one count. [m/s2]"""
_HEAD = struct.Struct("<QQQ")
_RSS_MB = 1 / 1024


def stream(name: str, rate_hz: float, channels: int) -> StreamSpec:
    """Give a stream of 16-bit channels."""
    return StreamSpec(
        name=name,
        source=SourceKind.MQTT,
        address="127.0.0.1:1883",
        topic=name,
        sample_rate_hz=rate_hz,
        channels=tuple(
            Channel(
                name=f"{name} {k}",
                role=Role.OTHER,
                first_register=k,
                type=CountType.I16,
                scale=COUNT,
                unit="m/s2",
                sample_rate_hz=rate_hz,
                instrument=Instrument(name="AC-1", standard_uncertainty=0.0),
            )
            for k in range(channels)
        ),
    )


SLOW = stream("slow", SLOW_HZ, SLOW_CHANNELS)
FAST = stream("fast", FAST_HZ, FAST_CHANNELS)


def samples_of(spec: StreamSpec, block: int, sequence: int) -> NDArray[np.int16]:
    """Give the samples of a block: a rotor at 20 rev/s, and noise that never comes again."""
    rng = np.random.default_rng([11, sequence])
    channels = len(spec.channels)
    at_s = (sequence * block + np.arange(block)) / spec.sample_rate_hz
    turn = 2 * np.pi * 20 * at_s[:, np.newaxis]
    values = np.linspace(0.6, 0.1, channels) * np.sin(turn + np.arange(channels))
    values += 0.3 * rng.standard_normal((block, channels))
    return np.rint(values / COUNT).astype(np.int16)


def generate(spec: StreamSpec, block: int, pipe: Connection, seconds: float) -> None:
    """Send blocks in real time; for a process of its own."""
    pipe.send_bytes(b"ready")
    pipe.recv_bytes()
    began_ns = time.monotonic_ns()
    for sequence in range(blocks_in(spec, block, seconds)):
        counts = samples_of(spec, block, sequence).tobytes()
        first = sequence * block
        ready_ns = began_ns + round((first + block) / spec.sample_rate_hz * 1e9)
        time.sleep(max(0.0, (ready_ns - time.monotonic_ns()) / 1e9))
        pipe.send_bytes(_HEAD.pack(sequence, first, ready_ns) + counts)
    pipe.send_bytes(b"")


def blocks_in(spec: StreamSpec, block: int, seconds: float) -> int:
    """Give the number of blocks in some time."""
    return round(seconds * spec.sample_rate_hz / block)


class Generated:
    """A source that is fed by a process which generates in real time."""

    notices = ()

    def __init__(self, spec: StreamSpec, block: int, seconds: float) -> None:
        self.name = spec.name
        self.done = threading.Event()
        self._channels = len(spec.channels)
        self._pipe, theirs = multiprocessing.Pipe()
        arguments = (spec, block, theirs, seconds)
        context = multiprocessing.get_context("spawn")
        self._process = context.Process(target=generate, args=arguments, daemon=True)
        self._process.start()
        self._pipe.recv_bytes()
        self._thread: threading.Thread | None = None

    def start(self, push: Push) -> None:
        """Have it begin."""
        self._pipe.send_bytes(b"go")
        self._thread = threading.Thread(target=self._work, args=(push,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Wait for its end."""
        if self._thread is not None:
            self._thread.join()
            self._process.join()

    def _work(self, push: Push) -> None:
        while data := self._pipe.recv_bytes():
            sequence, first, ready_ns = _HEAD.unpack_from(data)
            counts = np.frombuffer(data, np.int16, offset=_HEAD.size).reshape(-1, self._channels)
            now_ns = time.monotonic_ns()
            push(StreamBlock(self.name, sequence, first, now_ns, counts, device_time_ns=ready_ns))
        self.done.set()


@contextmanager
def replaced(owner: Any, name: str, by: Callable[[Any], Any]) -> Iterator[None]:
    """Put something in the place of a function for a while."""
    before = getattr(owner, name)
    setattr(owner, name, by(before))
    try:
        yield
    finally:
        setattr(owner, name, before)


def slow_disk(pause_s: float) -> Callable[[Any], Any]:
    """Give a flush that takes so long."""

    def slowed(flush: Any) -> Any:
        def wrapped(descriptor: int) -> None:
            time.sleep(pause_s)
            flush(descriptor)

        return wrapped

    return slowed


def noting(latencies_s: list[float]) -> Callable[[Any], Any]:
    """Give an append that notes how long ago the last sample of a block was taken."""

    def noted(append: Any) -> Any:
        def wrapped(writer: JournalWriter, block: StreamBlock) -> None:
            append(writer, block)
            latencies_s.append((time.monotonic_ns() - (block.device_time_ns or 0)) / 1e9)

        return wrapped

    return noted


def bench_header() -> RunHeader:
    """Give the header of a run with the two streams."""
    channel_map = ChannelMap(name="bench", head=LOWER.designation, unit_id=2, streams=(SLOW, FAST))
    return RunHeader(
        run="bench",
        purpose=Purpose.TRIAL,
        recipe=CR_1,
        head=LOWER,
        load=PARTIAL_LOAD,
        channel_map=channel_map,
        started_at="2031-03-19T10:00:00.000Z",
        source="streams",
        stand_identity="generators",
        simulated=True,
        recorder_version="bench",
    )


def count_lost(trace: Trace, folder: Path, seconds: float) -> int:
    """Count the samples that are not where they should be, over all channels."""
    blocks = range(blocks_in(SLOW, SLOW_BLOCK, seconds))
    truth = np.concatenate([samples_of(SLOW, SLOW_BLOCK, n) for n in blocks])
    lost = sum(
        missing_of(trace.signals[channel.name].counts, truth[:, k])
        for k, channel in enumerate(SLOW.channels)
    )
    (file,) = trace.fast
    due = blocks_in(FAST, FAST_BLOCK, seconds)
    sequence = 0
    for batch in verified(folder / f"{file.sha256}.fast", file.sha256).batches():
        for start in range(0, len(batch), FAST_BLOCK):
            truth = samples_of(FAST, FAST_BLOCK, sequence)
            lost += missing_of(batch[start : start + FAST_BLOCK], truth)
            sequence += 1
    return lost + FAST_CHANNELS * FAST_BLOCK * (due - sequence)


def missing_of(counts: NDArray[Any], truth: NDArray[Any]) -> int:
    """Count the samples that are not what they should be."""
    return truth.size if counts.shape != truth.shape else int(np.count_nonzero(counts != truth))


def peak_mb() -> float:
    """Give the largest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _RSS_MB


def bench(folder: Path, seconds: float, pause_s: float) -> None:
    """Record, seal and compare, and print the figures."""
    sources = [Generated(SLOW, SLOW_BLOCK, seconds), Generated(FAST, FAST_BLOCK, seconds)]
    latencies_s: list[float] = []
    libraries_mb = peak_mb()
    with (
        replaced(os, "fdatasync", slow_disk(pause_s)),
        replaced(JournalWriter, "append_stream", noting(latencies_s)),
    ):
        wall_s, cpu_s = time.monotonic(), time.process_time()
        journal = folder / "bench.journal"
        record_run(
            None,
            bench_header(),
            journal,
            sources=sources,
            stop=lambda: all(source.done.is_set() for source in sources),
            pace=Pace(poll_s=0.02),
        )
        wall_s, cpu_s = time.monotonic() - wall_s, time.process_time() - cpu_s
    recorded_mb, size = peak_mb(), journal.stat().st_size
    sealing_s = time.process_time()
    trace = seal_journal(journal, folder)
    sealing_s = time.process_time() - sealing_s
    sealed_mb = peak_mb()
    (file,) = trace.fast
    p50, p99 = 1e3 * np.percentile(latencies_s, [50, 99])
    words = f", each flush {1e3 * pause_s:.0f} ms late" if pause_s else ""
    print(f"recording {SLOW_CHANNELS} channels at 100 Hz and {FAST_CHANNELS} at 25.6 kHz{words}:")
    print(f"  {wall_s:12.1f} s of real time, {size / 1e6:.0f} MB of journal")
    print(f"  {count_lost(trace, folder, seconds):12d} samples lost or changed")
    print(f"  {len(trace.incidents):12d} incidents told")
    print(f"  {100 * cpu_s / wall_s:12.1f} % of a core")
    print(f"  {p50:12.2f} ms from sample to journal, median; {p99:.2f} ms at 99 %")
    print(f"  {max(latencies_s) * 1e3:12.2f} ms at most")
    print(f"  {recorded_mb:12.0f} MB at most while recording, {libraries_mb:.0f} before it")
    print(f"  {sealed_mb:12.0f} MB at most while sealing, {sealing_s:.2f} s of CPU")
    print(f"  {file.size / file.samples / FAST_CHANNELS:12.2f} bytes a 16-bit vibration sample")
    for clock in trace.clocks:
        print(f"  {clock.in_words}")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=0.5, help="how long to record")
    minutes = parser.parse_args().minutes
    for pause_s in (0.0, 0.2):
        with tempfile.TemporaryDirectory() as folder:
            bench(Path(folder), 60 * minutes, pause_s)


if __name__ == "__main__":
    main()
