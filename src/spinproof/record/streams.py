"""Blocks of streams in the journal: their frames, and their order.

The content of a frame, its numbers big-endian, times and counts little-endian::

    stream u16 [place in the channel map] | type u8 | flags u8 | sequence u64 | first sample u64
    | device time i64 [ns] | samples u32 | channels u16 | times i64 [ns] | counts

Flag 1 says that the device told its time, flag 2 that it told the time of each sample.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spinproof.model.errors import TraceError
from spinproof.record.frames import LONGEST_PAYLOAD
from spinproof.record.incidents import REORDER_WINDOW
from spinproof.record.stream_block import StreamBlock

_HEAD = struct.Struct(">HBBQQqIH")
_TYPES = tuple(
    np.dtype(f"<{kind}{size}")
    for kind in "iuf"
    for size in (1, 2, 4, 8)
    if (kind, size) != ("f", 1)
)
"""Types by their code: i1 i2 i4 i8 u1 u2 u4 u8 f2 f4 f8."""
_TIMED, _EACH_TIMED = 1, 2


class StreamEntry(NamedTuple):
    """What the head of a block says, and where its frame lies in the journal."""

    stream: int
    """Place of the stream in the channel map."""
    sequence: int
    first_sample: int
    samples: int
    arrival_ns: int
    device_ns: int | None
    """The device's clock at the first sample. [ns]"""
    last_ns: int | None
    """The device's clock at the last sample, for a stream that is not regular. [ns]"""
    place: int
    """Where its frame begins in the journal. [byte]"""

    @property
    def end(self) -> int:
        """Number of the sample behind the last one."""
        return self.first_sample + self.samples


@dataclass(frozen=True)
class Arranged:
    """The blocks of one stream, put in order.

    Attributes
    ----------
    kept : tuple of (StreamEntry, int)
        Blocks in order, and how many samples to leave out at the start of each.
    gaps : tuple of (int, int)
        Number of the first sample that is missing, and how many are.
    repeats : tuple of (StreamEntry, int)
        Blocks with samples that were there already, and how many.
    turned : tuple of StreamEntry
        Blocks that came before their turn or behind it, and were put in their place.
    late : tuple of StreamEntry
        Blocks that came too late to be put in their place.
    """

    kept: tuple[tuple[StreamEntry, int], ...]
    gaps: tuple[tuple[int, int], ...]
    repeats: tuple[tuple[StreamEntry, int], ...]
    turned: tuple[StreamEntry, ...]
    late: tuple[StreamEntry, ...]


def stream_payload(block: StreamBlock, stream: int) -> bytes:
    """Put a block into the content of a frame.

    Parameters
    ----------
    block : StreamBlock
        The block.
    stream : int
        Place of its stream in the channel map.

    Returns
    -------
    bytes
        The content; the time of the arrival stands in the frame's own head.

    Raises
    ------
    TraceError
        If the counts are no table of numbers, or longer than a frame may be.
    """
    counts = np.ascontiguousarray(block.counts)
    counts = counts.astype(counts.dtype.newbyteorder("<"), copy=False)
    if counts.ndim != 2 or counts.dtype not in _TYPES or counts.nbytes > LONGEST_PAYLOAD // 2:
        raise TraceError(
            f"a block of shape {counts.shape}, type {counts.dtype} and {counts.nbytes} bytes "
            "does not fit the journal",
            where=f"stream {block.stream}, block {block.sequence}",
            mend="Let the source deliver shorter blocks of plain numbers.",
        )
    flags = _TIMED * (block.device_time_ns is not None) | _EACH_TIMED * (block.times_ns is not None)
    head = _HEAD.pack(
        stream,
        _TYPES.index(counts.dtype),
        flags,
        block.sequence,
        block.first_sample,
        block.device_time_ns or 0,
        *counts.shape,
    )
    times = b"" if block.times_ns is None else block.times_ns.astype("<i8").tobytes()
    return head + times + counts.tobytes()


def stream_of(payload: bytes) -> int:
    """Give the place of the stream in the channel map that a frame's content belongs to."""
    return int.from_bytes(payload[:2], "big")


def stream_entry(payload: bytes, arrival_ns: int, place: int) -> StreamEntry:
    """Read the head of a frame's content.

    Parameters
    ----------
    payload : bytes
        The content.
    arrival_ns : int
        Time of the frame. [ns]
    place : int
        Where the frame begins in the journal. [byte]

    Returns
    -------
    StreamEntry
        What the head says.
    """
    stream, _, flags, sequence, first, device_ns, samples, _ = _HEAD.unpack_from(payload)
    last_ns = None
    if flags & _EACH_TIMED and samples:
        last = _HEAD.size + 8 * (samples - 1)
        last_ns = int.from_bytes(payload[last : last + 8], "little", signed=True)
    told = device_ns if flags & _TIMED else None
    return StreamEntry(stream, sequence, first, samples, arrival_ns, told, last_ns, place)


def parse_stream(payload: bytes, name: str, arrival_ns: int) -> StreamBlock:
    """Take a frame's content apart.

    Parameters
    ----------
    payload : bytes
        The content.
    name : str
        Name of the stream.
    arrival_ns : int
        Time of the frame. [ns]

    Returns
    -------
    StreamBlock
        The block; its counts are a view into the content.
    """
    _, kind, flags, sequence, first, device_ns, samples, channels = _HEAD.unpack_from(payload)
    start, times = _HEAD.size, None
    if flags & _EACH_TIMED:
        times = np.frombuffer(payload, "<i8", samples, start).astype(np.int64)
        start += 8 * samples
    counts = np.frombuffer(payload, _TYPES[kind], samples * channels, start)
    return StreamBlock(
        stream=name,
        sequence=sequence,
        first_sample=first,
        arrival_ns=arrival_ns,
        counts=counts.reshape(samples, channels),
        device_time_ns=device_ns if flags & _TIMED else None,
        times_ns=times,
    )


def arranged(entries: Sequence[StreamEntry]) -> Arranged:
    """Put the blocks of one stream in order, once each.

    Parameters
    ----------
    entries : sequence of StreamEntry
        The blocks in the order in which they arrived.

    Returns
    -------
    Arranged
        Each sample once, in order, and what was wrong with them.
    """
    on_time: dict[int, StreamEntry] = {}
    again, turned, late = [], [], []
    newest = -1
    for entry in entries:
        if entry.sequence in on_time:
            again.append((entry, entry.samples))
        elif newest - entry.sequence > REORDER_WINDOW:
            late.append(entry)
        else:
            on_time[entry.sequence] = entry
            if entry.sequence < newest:
                turned.append(entry)
            newest = max(newest, entry.sequence)
    kept, gaps, overlaps = _without_overlaps(sorted(on_time.values(), key=lambda e: e.sequence))
    return Arranged(kept, gaps, (*again, *overlaps), tuple(turned), tuple(late))


def _without_overlaps(
    entries: Sequence[StreamEntry],
) -> tuple[
    tuple[tuple[StreamEntry, int], ...],
    tuple[tuple[int, int], ...],
    tuple[tuple[StreamEntry, int], ...],
]:
    kept, gaps, overlaps = [], [], []
    expected = None
    for entry in entries:
        expected = entry.first_sample if expected is None else expected
        if entry.first_sample > expected:
            gaps.append((expected, entry.first_sample - expected))
        skip = min(max(expected - entry.first_sample, 0), entry.samples)
        if skip:
            overlaps.append((entry, skip))
        if skip < entry.samples:
            kept.append((entry, skip))
        expected = max(expected, entry.end)
    return tuple(kept), tuple(gaps), tuple(overlaps)
