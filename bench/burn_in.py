"""Judging the fast streams of a burn-in. Run with ``make bench``, or in full with ``--runs 60``.

Each run has 6 min of three accelerations and the shaft's pulse at 10 kHz. The judge's windows stand
beside the floor (read, decode, one transform of everything) and beside the readable laws in double
precision, in one process; that they agree is shown before any time is printed.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.signal import butter, hilbert, sosfiltfilt
from tests.demo_files import LOWER

from spinproof.judge.vibration import Felt, felt_samples
from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.fast import FastSpec
from spinproof.model.head import Bearing
from spinproof.record.fast_file import FastReader, open_fast, write_fast
from spinproof.signals.severity import velocity_severity
from spinproof.virtualhead.faults import Disturbances
from spinproof.virtualhead.vibration import accelerations, vibration_spec

RATE, SECONDS = 10_000, 360
BEARING = Bearing(elements=9, element_diameter_mm=7.94, pitch_diameter_mm=39.04)
ROLES = (
    Role.ACCELERATION_VERTICAL,
    Role.ACCELERATION_HORIZONTAL,
    Role.ACCELERATION_AXIAL,
    Role.SHAFT_PULSE,
)
SPEC = vibration_spec(LOWER, 300.0, Disturbances())
USUAL_RUNS = 2


def channel(role: Role) -> Channel:
    """Give a 16-bit channel."""
    pulse = role is Role.SHAFT_PULSE
    return Channel(
        name=role.value,
        role=role,
        first_register=0,
        type=CountType.I16,
        scale=1.0 if pulse else SPEC.m_s2_per_count,
        unit="1" if pulse else "m/s2",
        sample_rate_hz=RATE,
        instrument=Instrument(name="AC-1", standard_uncertainty=0.0),
    )


def write_run(folder: Path, number: int) -> Path:
    """Write the fast stream of a run: up, two holds, and down."""
    time_s = np.linspace(0, SECONDS + 1, 3611)
    rpm = np.interp(time_s, (0, 5, 30, 180, 200, 300, 350), (0, 0, 600, 1750, 1750, 1100, 0))
    spec = FastSpec(
        run=f"B-{number}",
        stream="fast",
        channels=tuple(channel(role) for role in ROLES),
        nominal_rate_hz=RATE,
        rate_hz=RATE,
        start_s=0.0,
    )
    blocks = accelerations(time_s, rpm * np.pi / 30, SPEC, RATE, number)
    file = write_fast(
        folder, spec, (block for block, _ in zip(blocks, range(SECONDS), strict=False))
    )
    return folder / f"{file.sha256}.fast"


def judged(path: Path) -> Felt:
    """Measure a run as the judge does."""
    felt = felt_samples(open_fast(path), BEARING)
    assert felt is not None  # noqa: S101 - the bench writes accelerations
    return felt


def floor(path: Path) -> float:
    """Read, decode, and transform everything once in single precision."""
    total, values = 0.0, np.empty((8, RATE), dtype=np.float32)
    for counts in open_fast(path).batches():
        for axis in range(3):
            row = counts[:, axis].reshape(-1, RATE)
            for first in range(0, len(row), 8):
                block = row[first : first + 8]
                values[: len(block)] = block
                total += float(abs(rfft(values[: len(block)], axis=1)[0, 1]))
    return total


def usual(path: Path) -> NDArray[np.float64]:
    """Do the same in double precision, the whole run in memory, law by law."""
    reader: FastReader = open_fast(path)
    counts = np.concatenate(list(reader.batches()))
    times = np.arange(len(counts)) / RATE
    pulse = counts[:, 3] > 0
    edges = times[1:][pulse[1:] & ~pulse[:-1]]
    turned = np.exp(-2j * np.pi * np.interp(times, edges, np.arange(edges.size)))
    band = butter(4, (2000, 4500), "bandpass", fs=RATE, output="sos")
    severity = []
    for axis in range(3):
        values = counts[:, axis] * SPEC.m_s2_per_count
        severity.append(velocity_severity(values, RATE))
        envelope = np.abs(hilbert(sosfiltfilt(band, values)))
        for first in range(0, len(values), RATE):
            part = slice(first, first + RATE)
            _ = 2 / RATE * (values[part] @ turned[part])
            _ = np.abs(rfft(envelope[part] - envelope[part].mean()))
            off = values[part] - values[part].mean()
            _ = np.mean(off**4) / np.mean(off**2) ** 2
    return np.column_stack(severity)


def cpu_s(way: Callable[[Path], object], paths: list[Path]) -> float:
    """Give the CPU time of a way over runs."""
    begun = time.process_time()
    for path in paths:
        way(path)
    return time.process_time() - begun


def sizes(runs: int) -> Iterator[int]:
    """Give a quarter, a half and the whole of the runs."""
    yield from (max(runs // 4, 1), max(runs // 2, 1), runs)


def apart(paths: list[Path], processes: int) -> tuple[float, float, float]:
    """Judge in fresh processes: longest wall time after start, CPU time of all, peak in MB."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("OPENBLAS_")}
    command = [sys.executable, "-m", "bench.burn_in", "--judge"]
    workers = [
        subprocess.Popen(
            [*command, *map(str, paths[k::processes])],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        for k in range(processes)
    ]
    told = np.array([worker.communicate()[0].split() for worker in workers], dtype=float)
    return float(told[:, 0].max()), float(told[:, 1].sum()), float(told[:, 2].max())


def work(paths: list[Path]) -> None:
    """Judge runs in this process, and print wall time, CPU time and peak memory."""
    judged(paths[0])  # loads the compiled loops
    begun = time.perf_counter()
    cpu = cpu_s(judged, paths)
    wall = time.perf_counter() - begun
    # the peak of this program alone; that of getrusage still knows the parent's
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak_kb = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    print(wall, cpu, int(peak_kb) / 1024)


def compare(paths: list[Path]) -> None:
    """Show that the ways agree, then print their times."""
    felt, slow = judged(paths[0]).windows, usual(paths[0])
    np.testing.assert_allclose(felt.severity, slow, rtol=1e-5)
    floor(paths[0])
    size = sum(path.stat().st_size for path in paths)
    samples = len(paths) * RATE * SECONDS * 4
    print(f"{len(paths)} runs of {SECONDS} s, {samples / 1e6:.0f} M samples")
    print(f"  on disk            {size / samples:6.2f} bytes a sample")
    base = min(cpu_s(floor, paths) for _ in range(2))
    own = [min(cpu_s(judged, paths[:n]) for _ in range(2)) for n in sizes(len(paths))]
    few = paths[:USUAL_RUNS]
    long = cpu_s(usual, few) / len(few)
    each = own[-1] / len(paths)
    print(f"  floor              {1e3 * base / len(paths):6.1f} ms CPU a run")
    print(f"  judge              {1e3 * each:6.1f} ms CPU a run: {own[-1] / base:.2f} x floor")
    print(f"  double precision   {1e3 * long:6.0f} ms CPU a run: {long / each:.1f} x judge")
    for n, cpu in zip(sizes(len(paths)), own, strict=True):
        print(f"  {n:3d} runs           {1e3 * cpu / n:6.1f} ms CPU a run")
    alone, cpu_alone, peak = apart(paths, 1)
    both, cpu_both, _ = apart(paths, 2)
    print(f"  fresh process      {peak:6.0f} MB at its peak")
    print(f"  two processes      {alone / both:6.2f} x one (wall time after their start),")
    print(f"                     {cpu_both / cpu_alone:6.2f} of its CPU time")


def main() -> None:
    """Make the runs, and compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=6)
    parser.add_argument("--judge", nargs="+", type=Path)
    asked = parser.parse_args()
    if asked.judge:
        work(asked.judge)
        return
    with tempfile.TemporaryDirectory() as folder:
        compare([write_run(Path(folder), number) for number in range(asked.runs)])


if __name__ == "__main__":
    main()
