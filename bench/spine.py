"""Speed of the spine: recording, sealing, judging. Run with ``make bench``.

Ratios compare two ways in the same process, each by its least CPU time of several rounds;
absolute figures stand beside them and hold for this machine alone.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pyarrow.parquet as pq
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD, UPPER

from spinproof.app.recording import RunOrder, StandAddress, record
from spinproof.judge.judging import judge
from spinproof.model.program import Program
from spinproof.model.run import Purpose
from spinproof.model.trace import Trace
from spinproof.record.trace_file import read_trace
from spinproof.virtualhead.process_host import StandProcess

ROUNDS = 15
RUNS = 3


def least_cpu_s(way: Callable[[], object]) -> float:
    """Give the least CPU time of a way over some rounds."""
    best = float("inf")
    for _ in range(ROUNDS):
        begun = time.process_time()
        way()
        best = min(best, time.process_time() - begun)
    return best


def samples_of(trace: Trace) -> int:
    """Count the readings of a trace, over all channels."""
    return sum(signal.counts.size for signal in trace.signals.values())


def bench_recording(folder: Path) -> Path:
    """Record some runs from a virtual stand in another process, and print the rate."""
    order = RunOrder("bench", Purpose.TRIAL, CR_1, LOWER, PARTIAL_LOAD, LOWER_CHANNELS)
    traces, wall_s, cpu_s = [], 0.0, 0.0
    with StandProcess((UPPER, LOWER)) as stand:
        for number in range(1, RUNS + 1):
            program = Program(run_number=number, seed=number, recipe=CR_1, load=PARTIAL_LOAD)
            wall, cpu = time.monotonic(), time.process_time()
            address = StandAddress(stand.host, stand.port)
            traces.append(record(order, address, folder, folder, program=program))
            wall_s += time.monotonic() - wall
            cpu_s += time.process_time() - cpu
    samples = sum(map(samples_of, traces))
    seconds = sum(trace.duration_s for trace in traces)
    size = (folder / f"{traces[0].sha256}.parquet").stat().st_size
    print(f"recording over Modbus TCP and sealing, {RUNS} runs of {seconds / RUNS:.0f} s:")
    print(f"  {samples / wall_s:12,.0f} samples/s sustained ({samples / cpu_s:,.0f} a CPU second)")
    print(f"  {seconds / wall_s:12.0f} x real time, stand and recorder on one machine")
    print(f"  {size / samples_of(traces[0]):12.2f} bytes a sample in the sealed file")
    return folder / f"{traces[0].sha256}.parquet"


def bench_judging(path: Path) -> None:
    """Judge a sealed trace, and compare with merely reading its file."""
    trace = read_trace(path)

    def judging() -> object:
        return judge(read_trace(path), CR_1, LOWER, LIMITS, PARTIAL_LOAD)

    plain = least_cpu_s(lambda: pq.read_table(path, page_checksum_verification=True))
    checked = least_cpu_s(lambda: read_trace(path))
    whole = least_cpu_s(judging)
    samples = samples_of(trace)
    print(f"judging a run of {trace.duration_s:.0f} s, {samples:,} samples, from its file:")
    print(f"  {samples / whole:12,.0f} samples/s, {1e3 * whole:.1f} ms CPU")
    print(f"  {whole / plain:12.2f} x merely reading the same file ({1e3 * plain:.1f} ms)")
    print(f"  {whole / checked:12.2f} x reading it with all its checks ({1e3 * checked:.1f} ms)")


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        bench_judging(bench_recording(Path(folder)))


if __name__ == "__main__":
    main()
