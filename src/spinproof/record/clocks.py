"""The clocks of streams against the recorder's own, and so the samples on the time of the trace.

Samples of a regular stream are placed by their numbers, others by the times that the device told.
The recorder's monotonic clock is the judge: what arrives cannot have been taken later.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from spinproof.model.fast import StreamClock
from spinproof.model.stream import StreamSpec
from spinproof.record.blocks import BlockHead, RecordLayout
from spinproof.record.streams import StreamEntry
from spinproof.stats.clock_line import ClockLine, clock_line

STAND = "stand"
"""Name under which the stand's own clock is listed."""
STEP_S = 0.25
"""A lasting change of the delay beyond it is a step of the device's clock. [s]"""
_ALLOWED = 1e-3
_AHEAD_NS = 10_000_000_000
_BACK_NS = 600_000_000_000

Kept = Sequence[tuple[StreamEntry, int]]
"""Blocks in order, and how many samples to leave out at the start of each."""


@dataclass(frozen=True)
class Axis:
    """Where the time of the trace lies on the recorder's monotonic clock.

    Attributes
    ----------
    zero_ns : int
        Monotonic time that the seconds of ``line`` count from. [ns]
    line : ClockLine
        The line from the seconds of the trace to those of the recorder.
    """

    zero_ns: int
    line: ClockLine


@dataclass(frozen=True)
class StreamPlace:
    """Where the samples of a stream lie on the time of its trace.

    Attributes
    ----------
    clock : StreamClock
        How its clock stood, stated.
    first_sample : int
        Number of the sample, or for a stream with times of its own the device's time [ns], that
        lies at ``start_s``.
    start_s : float
        Time of the trace then. [s]
    pace : float
        Seconds of the trace in a second of the stream. [1]
    rate_hz : float
        Rate by the stream's own clock. [Hz]
    is_timed : bool
        Whether the device times each sample.
    jumps : tuple of (int, float)
        Monotonic time of the host at which the device's clock had jumped [ns], and how far. [s]
    corrections : mapping of int to int
        What is added to the device's times of a block, by its sequence, after a jump. [ns]
    """

    clock: StreamClock
    first_sample: int
    start_s: float
    pace: float
    rate_hz: float
    is_timed: bool
    jumps: tuple[tuple[int, float], ...]
    corrections: Mapping[int, int]

    def of_numbers(self, numbers: NDArray[np.int64]) -> NDArray[np.float64]:
        """Time of samples of a regular stream, by their numbers. [s]."""
        elapsed = (numbers - self.first_sample) / self.rate_hz
        return np.asarray(self.start_s + self.pace * elapsed, dtype=np.float64)

    def of_times(self, times_ns: NDArray[np.int64], sequence: int) -> NDArray[np.float64]:
        """Time of samples that the device timed itself. [s]."""
        elapsed = (times_ns + self.corrections.get(sequence, 0) - self.first_sample) / 1e9
        return np.asarray(self.start_s + self.pace * elapsed, dtype=np.float64)


def stand_axis(
    heads: Sequence[BlockHead],
    arrivals_ns: Sequence[int],
    layout: RecordLayout,
    origin: int,
) -> Axis:
    """Give the time of a trace that has the samples of a stand.

    Parameters
    ----------
    heads : sequence of BlockHead
        The stand's blocks, at least one.
    arrivals_ns : sequence of int
        When each arrived. [ns]
    layout : RecordLayout
        Carries the sample period.
    origin : int
        Number of the sample at which the time of the trace starts.

    Returns
    -------
    Axis
        Time zero is the sample ``origin``.
    """
    last = np.array([head.first_sample + max(head.samples, 1) - 1 for head in heads])
    at_s = (last - origin) * layout.sample_period_us / 1e6
    return Axis(arrivals_ns[0], clock_line(at_s, (np.array(arrivals_ns) - arrivals_ns[0]) / 1e9))


def host_axis(zero_ns: int) -> Axis:
    """Give the time of a trace without a stand: the recorder's monotonic clock from some time on.

    Parameters
    ----------
    zero_ns : int
        Monotonic time of the host that is time zero. [ns]

    Returns
    -------
    Axis
        The axis.
    """
    return Axis(zero_ns, ClockLine(0.0, 1.0, 0.0, 0.0, 0.0, 0))


def axis_clock(axis: Axis) -> StreamClock:
    """Say how the stand's clock stood against the recorder's; its offset is zero by definition."""
    return _stated(STAND, axis.line, 0.0, axis.line.offset_uncertainty)


def place_stream(kept: Kept, spec: StreamSpec, axis: Axis) -> StreamPlace:
    """Find where the samples of a stream lie on the time of the trace.

    Parameters
    ----------
    kept : sequence of (StreamEntry, int)
        Its blocks in order, at least one.
    spec : StreamSpec
        What the map says of the stream.
    axis : Axis
        The time of the trace.

    Returns
    -------
    StreamPlace
        Places samples, and says how well it knows.
    """
    entries = [entry for entry, _ in kept]
    timed = not spec.is_regular and all(entry.last_ns is not None for entry in entries)
    arrivals = np.array([entry.arrival_ns for entry in entries])
    told = _told_ns(entries, timed=timed, rate_hz=spec.sample_rate_hz)
    added, jumps = _jumps(told, arrivals) if told is not None else (None, ())
    if timed and told is not None and added is not None:
        ready, first = told + added, entries[0].device_ns or int(told[0])
        at_s = (ready - first) / 1e9
    else:
        first = entries[0].first_sample
        at_s = np.array([entry.end - 1 - first for entry in entries]) / spec.sample_rate_hz
    line = clock_line(at_s, (arrivals - axis.zero_ns) / 1e9)
    offset_s = line.offset - axis.line.offset
    of_offset = hypot(line.offset_uncertainty, axis.line.offset_uncertainty)
    moved = zip(entries, [] if added is None else added.tolist(), strict=False)
    return StreamPlace(
        clock=_stated(spec.name, line, offset_s, of_offset),
        first_sample=first,
        start_s=offset_s / axis.line.pace,
        pace=line.pace / axis.line.pace,
        rate_hz=spec.sample_rate_hz,
        is_timed=timed,
        jumps=jumps,
        corrections={entry.sequence: by for entry, by in moved if by},
    )


def _stated(name: str, line: ClockLine, offset_s: float, of_offset: float) -> StreamClock:
    return StreamClock(
        stream=name,
        offset_s=round(offset_s, 9),
        offset_uncertainty_s=round(of_offset, 9),
        drift_ppm=round(1e6 * line.drift, 4),
        drift_uncertainty_ppm=round(1e6 * line.drift_uncertainty, 4),
        blocks=line.messages,
        widest_delay_s=round(line.widest_delay, 9),
    )


def _told_ns(
    entries: Sequence[StreamEntry], *, timed: bool, rate_hz: float
) -> NDArray[np.int64] | None:
    # The device's clock at the last sample of each block, if it told it for all.
    if timed:
        return np.array([entry.last_ns for entry in entries], dtype=np.int64)
    if any(entry.device_ns is None for entry in entries):
        return None
    lengths = np.array([entry.samples - 1 for entry in entries]) / rate_hz
    first = np.array([entry.device_ns for entry in entries], dtype=np.int64)
    return first + np.rint(1e9 * lengths).astype(np.int64)


def _jumps(
    told: NDArray[np.int64], arrivals: NDArray[np.int64]
) -> tuple[NDArray[np.int64], tuple[tuple[int, float], ...]]:
    """Find where the delay of all blocks changes at once and for good: there the clock jumped.

    A connection that was lost delivers late what it held, but then again as quickly as before.
    """
    delays = arrivals - told
    added = np.zeros(told.size, dtype=np.int64)
    jumps = []
    since = 0
    for i in (np.flatnonzero(np.abs(np.diff(delays)) > STEP_S * 5e8) + 1).tolist():
        near = slice(max(since, int(np.searchsorted(arrivals, arrivals[i] - _BACK_NS))), i)
        before = int(delays[near].min(initial=int(delays[i - 1])))
        coming = (arrivals >= arrivals[i]) & (arrivals <= arrivals[i] + _AHEAD_NS)
        coming[:i] = False
        after = int(delays[coming].min())
        by = after - before
        allowed = 1e9 * STEP_S + _ALLOWED * float(arrivals[i] - arrivals[i - 1])
        if abs(by) > allowed and (by > 0 or delays[i] - before < by / 2):
            added[i:] += by
            jumps.append((int(arrivals[i]), round(-by / 1e9, 6)))
            since = i
    return added, tuple(jumps)
