"""Sealing streams: slow ones become signals of the trace, fast ones files beside it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Channel
from spinproof.model.fast import FastFile, FastGap, FastSpec, StreamClock
from spinproof.model.run import Incident, IncidentKind
from spinproof.model.stream import StreamSpec
from spinproof.model.trace import Signal
from spinproof.record.blocks import count_type
from spinproof.record.clocks import Axis, StreamPlace, axis_clock, host_axis, place_stream
from spinproof.record.fast_file import write_fast
from spinproof.record.journal_reading import Journal
from spinproof.record.stream_incidents import (
    StreamTeller,
    notice_incidents,
    speed_disagreements,
)
from spinproof.record.streams import Arranged, StreamEntry, arranged


@dataclass(frozen=True)
class SealedStreams:
    """What became of the streams of a journal.

    Attributes
    ----------
    signals : dict of str to Signal
        The channels of the slow streams.
    files : list of FastFile
        The files of the fast streams.
    clocks : list of StreamClock
        How the clock of each stream stood.
    incidents : list of Incident
        What was noticed.
    late : list of StreamEntry
        Blocks that came too late to be put in their place.
    """

    signals: dict[str, Signal] = field(default_factory=dict)
    files: list[FastFile] = field(default_factory=list)
    clocks: list[StreamClock] = field(default_factory=list)
    incidents: list[Incident] = field(default_factory=list)
    late: list[StreamEntry] = field(default_factory=list)


@dataclass(frozen=True)
class _Placed:
    """One stream, in order and on the time of the trace."""

    spec: StreamSpec
    blocks: Arranged
    place: StreamPlace

    @property
    def starts_s(self) -> float:
        entry, skip = self.blocks.kept[0]
        if self.place.is_timed:
            return float(self.place.of_times(np.array([self.place.first_sample]), -1)[0])
        return float(self.place.of_numbers(np.array([entry.first_sample + skip]))[0])

    @property
    def ends_s(self) -> float:
        entry = self.blocks.kept[-1][0]
        if self.place.is_timed and entry.last_ns is not None:
            return float(self.place.of_times(np.array([entry.last_ns]), entry.sequence)[0])
        return float(self.place.of_numbers(np.array([entry.end - 1]))[0])


def seal_streams(
    journal: Journal, folder: Path, axis: Axis | None, end_s: float, on_stand: dict[str, Signal]
) -> SealedStreams:
    """Turn the blocks of streams into signals and files.

    Parameters
    ----------
    journal : Journal
        The journal; its samples are read from the disk block by block.
    folder : Path
        Where the files of fast streams go.
    axis : Axis or None
        The time of the trace by its stand, or None when there is no stand: the time then begins
        with the first sample of any stream.
    end_s : float
        Time of the last sample of the stand. [s]
    on_stand : dict of str to Signal
        The stand's own signals, to compare speeds with.

    Returns
    -------
    SealedStreams
        What became of them.
    """
    sealed = SealedStreams()
    streams = journal.opening.header.channel_map.streams
    blocks = [
        arranged([entry for entry in journal.entries if entry.stream == i])
        for i in range(len(streams))
    ]
    placed, time = _on_one_time(list(zip(streams, blocks, strict=True)), journal, axis)
    end_s = max([end_s, *(each.ends_s for each in placed.values())])
    if axis is not None and placed:
        sealed.clocks.append(axis_clock(axis))
    for i, spec in enumerate(streams):
        sealed.late.extend(blocks[i].late)
        tell = StreamTeller(spec, placed[i].place if i in placed else None)
        sealed.incidents.extend(tell.everything(blocks[i], end_s))
        if i not in placed:
            sealed.clocks.append(_unknown(spec))
            sealed.signals.update(_no_signals(spec))
            continue
        sealed.clocks.append(placed[i].place.clock)
        if spec.is_fast:
            sealed.files.append(_fast_file(placed[i], journal, folder))
        else:
            signals, missing = _slow_signals(placed[i], journal)
            sealed.signals.update(signals)
            sealed.incidents.extend(missing)
    sealed.incidents.extend(notice_incidents(journal.notices, time))
    owned = {"the stand": on_stand} | {
        spec.name: {c.name: sealed.signals[c.name] for c in spec.channels}
        for spec in streams
        if not spec.is_fast
    }
    sealed.incidents.extend(speed_disagreements(owned))
    return sealed


def _on_one_time(
    streams: Sequence[tuple[StreamSpec, Arranged]], journal: Journal, axis: Axis | None
) -> tuple[dict[int, _Placed], Axis]:
    wanted = axis or host_axis(min((entry.arrival_ns for entry in journal.entries), default=0))
    placed = {
        i: _Placed(spec, blocks, place_stream(blocks.kept, spec, wanted))
        for i, (spec, blocks) in enumerate(streams)
        if blocks.kept
    }
    if axis is not None or not placed:
        return placed, wanted
    zero_s = min(each.starts_s for each in placed.values())
    moved = {i: replace(each, place=_earlier(each.place, zero_s)) for i, each in placed.items()}
    return moved, host_axis(wanted.zero_ns + round(1e9 * zero_s))


def _earlier(place: StreamPlace, by_s: float) -> StreamPlace:
    offset_s = round(place.clock.offset_s - by_s, 9)
    clock = place.clock.model_copy(update={"offset_s": offset_s})
    return replace(place, clock=clock, start_s=place.start_s - by_s)


def _unknown(spec: StreamSpec) -> StreamClock:
    return StreamClock(
        stream=spec.name,
        offset_s=0.0,
        offset_uncertainty_s=0.0,
        drift_ppm=0.0,
        drift_uncertainty_ppm=0.0,
        blocks=0,
        widest_delay_s=0.0,
    )


def _no_signals(spec: StreamSpec) -> dict[str, Signal]:
    if spec.is_fast:
        return {}
    none = np.empty(0)
    return {c.name: Signal(c, none, none.astype(count_type(c))) for c in spec.channels}


def _slow_signals(placed: _Placed, journal: Journal) -> tuple[dict[str, Signal], list[Incident]]:
    skips = {entry.sequence: skip for entry, skip in placed.blocks.kept}
    times, rows = [], []
    for block in journal.stream_blocks(entry for entry, _ in placed.blocks.kept):
        skip = skips[block.sequence]
        if placed.place.is_timed and block.times_ns is not None:
            at_s = placed.place.of_times(block.times_ns, block.sequence)
        else:
            at_s = placed.place.of_numbers(block.first_sample + np.arange(len(block.counts)))
        times.append(at_s[skip:])
        rows.append(block.counts[skip:])
    time_ns = _rising(np.concatenate(times))
    if not placed.spec.is_regular and (before := int(np.searchsorted(time_ns, 0))):
        time_ns[before - 1] = 0  # what was told last before the run still held when it began
    counts = np.concatenate(rows)
    in_run = time_ns >= 0
    time_s = time_ns[in_run] / 1e9
    signals, missing = {}, []
    for channel, column in zip(placed.spec.channels, counts[in_run].T, strict=True):
        signals[channel.name], none = _signal(channel, time_s, column)
        missing += none
    return signals, missing


def _rising(time_s: NDArray[np.float64]) -> NDArray[np.int64]:
    # Whole nanoseconds, each later than the one before: two samples never fall together.
    steps = np.arange(time_s.size)
    rounded = np.rint(time_s * 1e9).astype(np.int64)
    return np.asarray(np.maximum.accumulate(rounded - steps) + steps, dtype=np.int64)


def _signal(
    channel: Channel, time_s: NDArray[np.float64], counts: NDArray[Any]
) -> tuple[Signal, list[Incident]]:
    kind = count_type(channel)
    usable = fits(counts, kind)
    if usable.all():  # the channels of a stream then share their times
        return Signal(channel, time_s, counts.astype(kind)), []
    signal = Signal(channel, time_s[usable], counts[usable].astype(kind))
    missing = int(np.count_nonzero(~usable))
    first_s = float(time_s[int(np.argmin(usable))])
    text = f"missing readings in {channel.name}: {missing}"
    kind_of = IncidentKind.MISSING
    found = Incident(
        kind=kind_of, time_s=round(first_s, 6), size=missing, channel=channel.name, text=text
    )
    return signal, [found]


def fits(counts: NDArray[Any], kind: np.dtype[Any]) -> NDArray[np.bool_]:
    """Tell which counts a type can hold as they are.

    Parameters
    ----------
    counts : ndarray
        What a source sent.
    kind : dtype
        The type of the channel.

    Returns
    -------
    ndarray of bool
        False where a whole number was promised and none came, or it is out of range.
    """
    if kind.kind == "f" or np.can_cast(counts.dtype, kind, "safe"):
        return np.ones(counts.shape, dtype=np.bool_)
    limits = np.iinfo(kind)
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (counts == np.rint(counts)) & (counts >= limits.min) & (counts <= limits.max)
        )


def _fast_file(placed: _Placed, journal: Journal, folder: Path) -> FastFile:
    spec, place = placed.spec, placed.place
    before = max(0, ceil(-placed.starts_s * spec.sample_rate_hz / place.pace - 1e-6))
    begin = placed.blocks.kept[0][0].first_sample + placed.blocks.kept[0][1] + before
    kept = [
        (entry, max(skip, begin - entry.first_sample))
        for entry, skip in placed.blocks.kept
        if entry.end > begin
    ]
    start = kept[0][0].first_sample + kept[0][1] if kept else begin
    about = FastSpec(
        run=journal.opening.header.run,
        stream=spec.name,
        channels=spec.channels,
        nominal_rate_hz=spec.sample_rate_hz,
        rate_hz=spec.sample_rate_hz / place.pace,
        start_s=max(0.0, round(float(place.of_numbers(np.array([start]))[0]), 9)),
        gaps=tuple(_fast_gaps(kept)),
        clock=place.clock,
    )
    blocks = journal.stream_blocks(entry for entry, _ in kept)
    pieces = (block.counts[skip:] for block, (_, skip) in zip(blocks, kept, strict=True))
    return write_fast(folder, about, pieces)


def _fast_gaps(kept: Sequence[tuple[StreamEntry, int]]) -> Iterator[FastGap]:
    after, expected = 0, None
    for entry, skip in kept:
        first = entry.first_sample + skip
        if expected is not None and first > expected:
            yield FastGap(after=after, missing=first - expected)
        after += entry.samples - skip
        expected = entry.end
