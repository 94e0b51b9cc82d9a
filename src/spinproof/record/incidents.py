"""What a recording notices about itself: pure functions on block heads and counts.

The time axis comes from sample numbers alone. A step of the device's clock is reported and moves
nothing; a gap leaves a hole and is never filled; what came twice is left out and counted.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.run import Incident, IncidentKind
from spinproof.model.trace import Signal
from spinproof.record.blocks import Block, BlockHead, RecordLayout, stack_records
from spinproof.record.odd_readings import find_odd_readings

REORDER_WINDOW = 8
"""How many blocks a block may lag behind the newest and still be put in its place."""
_CLOCK_DRIFT = 2e-4
_PLAUSIBLE_SPEEDS = 10.0
_PULSES = {Role.TACH_COUNT, Role.OPTICAL_COUNT}
_EDGES = {Role.TACH_EDGE, Role.OPTICAL_EDGE}


@dataclass(frozen=True, eq=False)
class Merged:
    """Blocks, put in order.

    Attributes
    ----------
    sample_numbers : ndarray of int
        Numbers of the samples since the start of the run, strictly rising.
    records : ndarray
        One row per sample, one column per register.
    clock : tuple of ndarray
        Numbers of the samples at which a block began, and the device's time there. [us]
    incidents : tuple of Incident
        What was noticed.
    aside : tuple of int
        Places of the blocks that came too late, or belong to another run.
    """

    sample_numbers: NDArray[np.int64]
    records: NDArray[np.uint16]
    clock: tuple[NDArray[np.int64], NDArray[np.int64]]
    incidents: tuple[Incident, ...]
    aside: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Arrivals:
    """Heads of blocks as columns, in the order of arrival."""

    heads: Sequence[BlockHead]
    foreign: NDArray[np.bool_]
    behind: NDArray[np.int64]
    """Blocks by which each lags behind the newest one."""
    newest: NDArray[np.int64]
    """First sample of the newest block that was there by then."""


def merge_blocks(blocks: Sequence[Block], run_number: int, layout: RecordLayout) -> Merged:
    """Put blocks in order, once each, and report what was wrong with them.

    Parameters
    ----------
    blocks : sequence of Block
        Blocks in the order in which they arrived.
    run_number : int
        The run they should belong to.
    layout : RecordLayout
        How the stand packs its samples.

    Returns
    -------
    Merged
        Each sample once, in order.
    """
    arrivals = _arrivals([block.head for block in blocks], run_number)
    on_time = np.flatnonzero(~arrivals.foreign & (arrivals.behind <= REORDER_WINDOW))
    numbers, owners = _samples_of(arrivals.heads, on_time)
    kept, first_seen = np.unique(numbers, return_index=True)
    repeated = np.bincount(owners, minlength=len(blocks)) - np.bincount(
        owners[first_seen], minlength=len(blocks)
    )
    aside = [i for i in _others(len(blocks), on_time) if _is_news(arrivals, i, kept)]
    repeats = {i: int(repeated[i]) for i in np.flatnonzero(repeated).tolist()} | {
        i: blocks[i].head.samples for i in _others(len(blocks), on_time) if i not in aside
    }
    origin = int(kept[0]) if kept.size else 0
    tell = _Teller(origin, layout.sample_period_us / 1e6)
    clock = _clock(arrivals.heads, np.unique(owners[first_seen]))
    incidents = [
        *tell.gaps(kept),
        *tell.repeats(arrivals, repeats),
        *tell.turned(arrivals, on_time, repeats),
        *tell.late(arrivals, aside, run_number),
        *tell.clock_steps(*clock),
    ]
    records = stack_records((blocks[i] for i in on_time.tolist()), layout)[first_seen]
    in_order = sorted(incidents, key=lambda incident: incident.time_s)
    return Merged(kept, records, clock, tuple(in_order), tuple(aside))


def find_channel_incidents(signals: Mapping[str, Signal], head: HeadSpec) -> tuple[Incident, ...]:
    """Find readings that are missing or odd, and counters that rolled over or started anew.

    Parameters
    ----------
    signals : mapping of str to Signal
        The channels.
    head : HeadSpec
        Its top speed tells a roll-over from a restart.

    Returns
    -------
    tuple of Incident
        At most one per channel and kind, at the time of the first occurrence.
    """
    found: list[Incident] = []
    for signal in signals.values():
        found += _missing(signal)
        if signal.channel.role in _PULSES | _EDGES and signal.counts.dtype.kind == "u":
            found += _turns_of_counter(signal, head)
    found += find_odd_readings(signals)
    return tuple(found)


def find_time_gaps(time_s: NDArray[np.float64], period_s: float) -> tuple[Incident, ...]:
    """Find gaps in the time column of a trace that carries no sample numbers.

    Parameters
    ----------
    time_s : ndarray
        Times of the samples, rising. [s]
    period_s : float
        Time between two samples. [s]

    Returns
    -------
    tuple of Incident
        One per gap; its size is the number of samples that are missing.
    """
    numbers = np.concatenate([[0], np.cumsum(np.maximum(np.rint(np.diff(time_s) / period_s), 1))])
    return tuple(_Teller(0, period_s).gaps(numbers.astype(np.int64)))


class _Teller:
    """Puts incidents into words, with times since the first sample of the trace."""

    def __init__(self, origin: int, period_s: float) -> None:
        self._origin = origin
        self._period_s = period_s

    def gaps(self, kept: NDArray[np.int64]) -> Iterator[Incident]:
        if self._origin > 0:
            yield self._gap(self._origin, self._origin, "from the start of the run")
        for i in np.flatnonzero(np.diff(kept) > 1):
            yield self._gap(int(kept[i]) + 1, int(kept[i + 1] - kept[i]) - 1, "from here on")

    def repeats(self, arrivals: _Arrivals, repeats: Mapping[int, int]) -> Iterator[Incident]:
        for i, samples in repeats.items():
            head = arrivals.heads[i]
            text = f"block {head.number} came again; {samples} of its samples were left out"
            yield self._incident(IncidentKind.DUPLICATE, head.first_sample, samples, text)

    def turned(
        self, arrivals: _Arrivals, on_time: NDArray[np.int64], repeats: Mapping[int, int]
    ) -> Iterator[Incident]:
        for i in on_time[arrivals.behind[on_time] > 0]:
            head = arrivals.heads[i]
            if samples := head.samples - repeats.get(int(i), 0):
                text = f"block {head.number} came {arrivals.behind[i]} late; it is in its place now"
                yield self._incident(IncidentKind.OUT_OF_ORDER, head.first_sample, samples, text)

    def late(
        self, arrivals: _Arrivals, aside: Sequence[int], run_number: int
    ) -> Iterator[Incident]:
        for i in aside:
            head = arrivals.heads[i]
            why = (
                f"belongs to run {head.run_number} of the stand, not to run {run_number}"
                if arrivals.foreign[i]
                else f"came {arrivals.behind[i]} blocks late"
            )
            text = f"block {head.number} {why}; it is kept aside"
            yield self._incident(IncidentKind.LATE, int(arrivals.newest[i]), head.samples, text)

    def clock_steps(
        self, samples: NDArray[np.int64], times_us: NDArray[np.int64]
    ) -> Iterator[Incident]:
        elapsed_us = np.diff(samples) * self._period_s * 1e6
        jumps_us = np.diff(times_us) - elapsed_us
        for i in np.flatnonzero(
            np.abs(jumps_us) > self._period_s * 1e6 + _CLOCK_DRIFT * elapsed_us
        ):
            size = round(float(jumps_us[i]) / 1e6, 6)
            text = f"the device's clock jumped by {size:+.3f} s; the samples keep their times"
            yield self._incident(IncidentKind.CLOCK_STEP, int(samples[i + 1]), size, text)

    def _gap(self, sample: int, size: int, place: str) -> Incident:
        text = f"{size} samples ({size * self._period_s:.2f} s) are missing {place}"
        first = max(sample, self._origin)
        return self._incident(IncidentKind.GAP, first, size, text)

    def _incident(self, kind: IncidentKind, sample: int, size: float, text: str) -> Incident:
        time_s = round((sample - self._origin) * self._period_s, 6)
        return Incident(kind=kind, time_s=time_s, size=size, text=text)


def _arrivals(heads: Sequence[BlockHead], run_number: int) -> _Arrivals:
    numbers = np.array([head.number for head in heads], dtype=np.int64)
    first = np.array([head.first_sample for head in heads], dtype=np.int64)
    foreign = np.array([head.run_number != run_number for head in heads], dtype=np.bool_)
    highest = np.maximum.accumulate(np.where(foreign, -1, numbers))
    newest = np.maximum.accumulate(np.where(foreign, 0, first))
    return _Arrivals(heads, foreign, np.maximum(highest - numbers, 0), newest)


def _samples_of(
    heads: Sequence[BlockHead], chosen: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the sample numbers of some blocks, and the block that each belongs to."""
    first = np.array([heads[i].first_sample for i in chosen], dtype=np.int64)
    counts = np.array([heads[i].samples for i in chosen], dtype=np.int64)
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return np.repeat(first, counts) + within, np.repeat(chosen, counts)


def _others(count: int, chosen: NDArray[np.int64]) -> list[int]:
    return [int(i) for i in np.setdiff1d(np.arange(count), chosen)]


def _is_news(arrivals: _Arrivals, place: int, kept: NDArray[np.int64]) -> bool:
    head = arrivals.heads[place]
    samples = np.arange(head.first_sample, head.first_sample + head.samples)
    return bool(arrivals.foreign[place]) or not np.isin(samples, kept).all()


def _clock(
    heads: Sequence[BlockHead], places: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    samples = np.array([heads[i].first_sample for i in places], dtype=np.int64)
    times = np.array([heads[i].device_time_us for i in places], dtype=np.uint64).view(np.int64)
    order = np.argsort(samples, kind="stable")
    return samples[order], times[order]


def _missing(signal: Signal) -> Iterator[Incident]:
    absent = np.isnan(signal.values)
    if absent.any():
        yield _of_channel(signal, IncidentKind.MISSING, absent, "missing readings")


def _turns_of_counter(signal: Signal, head: HeadSpec) -> Iterator[Incident]:
    """Tell a roll-over from a restart: no rotor turns ten times its top speed."""
    back = signal.counts[1:] < signal.counts[:-1]
    step = np.diff(signal.counts).astype(np.float64)  # unsigned: the difference wraps as they do
    if signal.channel.role in _PULSES:
        per_second = head.top_speed_rpm / 60 * (signal.channel.pulses_per_rev or 1)
        rolled = step <= 2 + _PLAUSIBLE_SPEEDS * per_second * np.diff(signal.time_s)
        restarted = back & ~rolled
    else:
        rolled = step <= np.iinfo(signal.counts.dtype).max / 2
        restarted = np.zeros_like(back)  # the edge's clock jumps with the device's, told elsewhere
    for kind, found, words in (
        (IncidentKind.ROLL_OVER, back & rolled, "roll-overs of the counter"),
        (IncidentKind.COUNTER_RESET, restarted, "restarts of the counter"),
    ):
        if found.any():
            yield _of_channel(signal, kind, np.concatenate([[False], found]), words)


def _of_channel(
    signal: Signal, kind: IncidentKind, found: NDArray[np.bool_], words: str
) -> Incident:
    count = int(np.count_nonzero(found))
    first_s = float(signal.time_s[int(np.argmax(found))])
    text = f"{words} in {signal.channel.name}: {count}"
    return Incident(kind=kind, time_s=first_s, size=count, channel=signal.channel.name, text=text)
