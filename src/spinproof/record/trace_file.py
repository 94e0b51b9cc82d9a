"""Sealed traces: one Parquet file per run, named by its SHA-256.

Counts are kept as the device sent them; scale, offset and unit stand in the channel map inside.
One row is one sample time; a channel with a lower rate has nulls between its samples.
"""

import io
import itertools
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.durable import storage_errors, sync_folder, write_durably
from spinproof.files.lock import hold
from spinproof.model.channel import Channel
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import StorageError, TraceError
from spinproof.model.fast import FastFile, StreamClock
from spinproof.model.noun import Noun
from spinproof.model.run import Ending, Incident, IncidentKind, RunHeader
from spinproof.model.trace import Signal, Trace
from spinproof.record.blocks import (
    RecordLayout,
    count_type,
    decode_signals,
    parse_block,
    sample_times,
)
from spinproof.record.clocks import Axis, stand_axis
from spinproof.record.fast_file import FAST_SUFFIX, FastReader, verified
from spinproof.record.frames import FrameKind, frame_bytes
from spinproof.record.incidents import find_channel_incidents, merge_blocks
from spinproof.record.journal import Closing, Opening
from spinproof.record.journal_reading import Journal, read_journal
from spinproof.record.streams_seal import seal_streams

SUFFIX = ".parquet"
ASIDE_SUFFIX = ".late"
"""How the name of a file ends that keeps late blocks; it is a journal."""
TIME_COLUMN = "time [ns]"
CLOCK_COLUMN = "device time [us]"
"""The device's clock, at the first sample of each block; null elsewhere."""
_KEY = b"spinproof"
_DIGEST_KEY = b"spinproof.content"

Clock = tuple[NDArray[np.float64], NDArray[np.int64]]
"""Times of the trace [s], and what the device's clock said then [us]."""


class Summary(Noun):
    """What a sealed trace says about itself, beside its samples."""

    schema_version: Literal["spinproof.trace.v1"] = "spinproof.trace.v1"
    header: RunHeader
    incidents: Annotated[tuple[Incident, ...], Field(strict=False)]
    ending: Ending
    aside: str | None = None
    """SHA-256 of the file beside the trace that keeps the late blocks, or absent."""
    fast: Annotated[tuple[FastFile, ...], Field(strict=False)] = ()
    """Files beside the trace with the samples of fast streams."""
    clocks: Annotated[tuple[StreamClock, ...], Field(strict=False)] = ()
    """How the clocks of streams stood against the recorder's."""

    def to_document(self) -> dict[str, Any]:
        """Give the value as plain JSON types; a run without streams does not mention them."""
        document = super().to_document()
        return {k: v for k, v in document.items() if v or k not in {"fast", "clocks"}}


def seal_journal(journal: Path, folder: Path) -> Trace:
    """Turn the journal of a run into a sealed trace, and remove the journal after that.

    Parameters
    ----------
    journal : Path
        The journal. One that nobody closed is sealed as interrupted.
    folder : Path
        Where the sealed trace goes, under its own SHA-256.

    Returns
    -------
    Trace
        The trace, as read back from the disk.

    Notes
    -----
    The same journal gives the same bytes, so that sealing can be repeated after a crash at any
    moment. BusyError says that the run is still being recorded; JournalError, that the journal
    is damaged; then it stays where it is.
    """
    with storage_errors(journal):
        journal.stat()
    with hold(journal, f"the recording in {journal.name}"):
        content = read_journal(journal)
        trace = _seal(content, folder)
        with storage_errors(journal):
            journal.unlink()
            sync_folder(journal.parent)
    return trace


def write_trace(
    summary: Summary,
    signals: Mapping[str, Signal],
    folder: Path,
    clock: Clock | None = None,
) -> Trace:
    """Write a sealed trace.

    Parameters
    ----------
    summary : Summary
        Header, incidents and ending.
    signals : mapping of str to Signal
        All channels of the header's map.
    folder : Path
        Where the file goes, under its own SHA-256.
    clock : pair of ndarray, optional
        The device's clock.

    Returns
    -------
    Trace
        The trace, as read back from the disk.
    """
    data = _parquet(_table(signals, clock), canonical_json(summary.to_document()))
    path = folder / (sha256_of_bytes(data) + SUFFIX)
    write_durably(path, data)
    return read_trace(path)


def read_trace(path: Path, *, named: bool = True, channels: Collection[str] | None = None) -> Trace:
    """Read a sealed trace; every byte of its content is checked.

    Parameters
    ----------
    path : Path
        The file.
    named : bool
        Whether the file must bear its SHA-256 as its name.
    channels : collection of str, optional
        Which channels to read; all when absent.

    Returns
    -------
    Trace
        The trace.

    Raises
    ------
    TraceError
        If the file is no sealed trace, was changed, or does not hold what its header promises.
    """
    with storage_errors(path):
        data = path.read_bytes()
    digest = sha256_of_bytes(data)
    if named and path.name != digest + SUFFIX:
        raise TraceError(
            f"the file was changed or renamed: its SHA-256 is {digest}",
            where=str(path),
            mend="Take the original file again, for example from the package it came in.",
        )
    with _reading(path):
        columns = None if channels is None or not named else _held(data, {TIME_COLUMN, *channels})
        table = pq.read_table(
            pa.BufferReader(data), columns=columns, page_checksum_verification=True
        )
        metadata = table.schema.metadata or {}
        summary = _summary(metadata)
        if not named:
            _check_content(table, metadata)
        signals = _signals(summary.header.channel_map, table, channels)
    return Trace(
        header=summary.header,
        signals=signals,
        incidents=summary.incidents,
        ending=summary.ending,
        sha256=digest,
        fast=summary.fast,
        clocks=summary.clocks,
        open_fast=partial(_open_beside, path),
    )


def _open_beside(path: Path, file: FastFile) -> FastReader:
    return verified(path.with_name(file.sha256 + FAST_SUFFIX), file.sha256)


def read_summary(path: Path) -> Summary:
    """Read what a sealed trace says about itself, without its samples.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Summary
        Header, incidents and ending; the samples are not checked.
    """
    metadata = _metadata(path)
    with _reading(path):
        return _summary(metadata)


def files_beside(path: Path) -> dict[Path, str]:
    """Give the files that belong to a sealed trace: its fast streams, and its late blocks.

    Parameters
    ----------
    path : Path
        The file of the trace.

    Returns
    -------
    dict of Path to str
        The SHA-256 of each file by its place, whether or not it is there.
    """
    summary = read_summary(path)
    names = {file.sha256: FAST_SUFFIX for file in summary.fast}
    if summary.aside is not None:
        names[summary.aside] = ASIDE_SUFFIX
    return {path.with_name(sha256 + suffix): sha256 for sha256, suffix in names.items()}


def is_sealed(path: Path) -> bool:
    """Tell whether a file is a sealed trace rather than some other table.

    Parameters
    ----------
    path : Path
        A Parquet file.

    Returns
    -------
    bool
        True when it carries a trace's summary.
    """
    try:
        return _KEY in _metadata(path)
    except TraceError:
        return False


def _seal(journal: Journal, folder: Path) -> Trace:
    opening = journal.opening
    stand = _Stand(journal)
    streams = seal_streams(journal, folder, stand.axis, stand.end_s, stand.signals)
    signals = stand.signals | streams.signals
    incidents = [
        *stand.merged_incidents,
        *streams.incidents,
        *find_channel_incidents(signals, opening.header.head),
        *_torn_tail(journal.left_out, stand.end_s),
    ]
    late = [(FrameKind.BLOCK, 0, journal.blocks[i]) for i in stand.aside]
    payloads = journal.stream_payloads(streams.late)
    late += [
        (FrameKind.STREAM, entry.arrival_ns, payload)
        for entry, payload in zip(streams.late, payloads, strict=True)
    ]
    summary = Summary(
        header=opening.header,
        incidents=tuple(incidents),
        ending=journal.ending or Ending.INTERRUPTED,
        aside=_write_aside(opening, late, folder),
        fast=tuple(streams.files),
        clocks=tuple(streams.clocks),
    )
    return write_trace(summary, signals, folder, stand.clock)


class _Stand:
    """What a journal holds of the stand's own blocks, put in order."""

    def __init__(self, journal: Journal) -> None:
        self.axis: Axis | None = None
        self.end_s = 0.0
        self.signals: dict[str, Signal] = {}
        self.merged_incidents: tuple[Incident, ...] = ()
        self.aside: tuple[int, ...] = ()
        self.clock: Clock | None = None
        if journal.opening.layout is not None:
            self._take(journal, journal.opening.layout)

    def _take(self, journal: Journal, layout: RecordLayout) -> None:
        opening = journal.opening
        blocks = [parse_block(payload, layout) for payload in journal.blocks]
        merged = merge_blocks(blocks, opening.run_number, layout)
        numbers = merged.sample_numbers
        origin = int(numbers[0]) if numbers.size else 0
        began, clock_us = merged.clock
        self.clock = (sample_times(began, origin, layout), clock_us)
        self.signals = decode_signals(
            opening.header.channel_map, layout, numbers, merged.records, origin
        )
        self.merged_incidents, self.aside = merged.incidents, merged.aside
        if numbers.size:
            self.end_s = float(sample_times(numbers[-1:], origin, layout)[0])
            own = [i for i in range(len(blocks)) if i not in set(merged.aside)]
            heads = [blocks[i].head for i in own]
            arrivals_ns = [journal.arrivals_ns[i] for i in own]
            self.axis = stand_axis(heads, arrivals_ns, layout, origin)


def _torn_tail(left_out: int, end_s: float) -> list[Incident]:
    if not left_out:
        return []
    text = f"the journal broke off while it was written; {left_out} bytes of it were left out"
    return [Incident(kind=IncidentKind.TORN_TAIL, time_s=end_s, size=left_out, text=text)]


def _write_aside(
    opening: Opening, late: Sequence[tuple[FrameKind, int, bytes]], folder: Path
) -> str | None:
    """Keep late blocks in a journal of their own; give its SHA-256."""
    if not late:
        return None
    data = frame_bytes(FrameKind.OPENING, 0, canonical_json(opening.to_document()))
    data += b"".join(frame_bytes(*frame) for frame in late)
    closing = Closing(ending=Ending.COMPLETE)
    data += frame_bytes(FrameKind.CLOSING, 0, canonical_json(closing.to_document()))
    digest = sha256_of_bytes(data)
    write_durably(folder / (digest + ASIDE_SUFFIX), data)
    return digest


def _table(signals: Mapping[str, Signal], clock: Clock | None) -> pa.Table:
    # channels of a stream share their times: each is rounded and sorted once
    times = {id(signal.time_s): _nanoseconds(signal.time_s) for signal in signals.values()}
    rows = np.unique(np.concatenate([np.empty(0, np.int64), *times.values()]))
    columns = {TIME_COLUMN: pa.array(rows)}
    if clock is not None:
        columns[CLOCK_COLUMN] = _column(rows, _nanoseconds(clock[0]), clock[1])
    for name, signal in signals.items():
        columns[name] = _column(rows, times[id(signal.time_s)], signal.counts)
    return pa.table(columns)


def _nanoseconds(time_s: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.rint(time_s * 1e9).astype(np.int64)


def _column(rows: NDArray[np.int64], times: NDArray[np.int64], counts: NDArray[Any]) -> pa.Array:
    if times.size == rows.size:
        return pa.array(counts)
    spread = np.zeros(rows.size, dtype=counts.dtype)
    absent = np.ones(rows.size, dtype=np.bool_)
    places = np.searchsorted(rows, times)
    spread[places], absent[places] = counts, False
    return pa.array(spread, mask=absent)


def _parquet(table: pa.Table, document: bytes) -> bytes:
    sink = io.BytesIO()
    with pq.ParquetWriter(
        sink,
        table.schema,
        compression="zstd",
        use_dictionary=False,
        column_encoding={field.name: _encoding(field.type) for field in table.schema},
        write_page_checksum=True,
        write_statistics=False,
        store_schema=False,
    ) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata({_KEY: document, _DIGEST_KEY: _digest(document, table)})
    return sink.getvalue()


def _encoding(kind: pa.DataType) -> str:
    return "DELTA_BINARY_PACKED" if pa.types.is_integer(kind) else "BYTE_STREAM_SPLIT"


def _digest(document: bytes, table: pa.Table) -> bytes:
    """Hash summary and samples; the format's own checksums leave its footer uncovered."""
    parts = [document]
    for name, column in zip(table.column_names, table.columns, strict=True):
        values = column.fill_null(0).to_numpy()
        present = column.is_valid().to_numpy()
        parts += [f"{name} {column.type} {len(column)}".encode(), values.tobytes()]
        parts += [present.tobytes()]
    return sha256_of_bytes(b"\0".join(sha256_of_bytes(part).encode() for part in parts)).encode()


def _signals(
    channel_map: ChannelMap, table: pa.Table, channels: Collection[str] | None
) -> dict[str, Signal]:
    signals = {}
    time_s = table[TIME_COLUMN].to_numpy() / 1e9
    for channel in table_channels(channel_map):
        if channels is None or channel.name in channels:
            column = table[channel.name]
            counts = column.drop_null().to_numpy().astype(count_type(channel), casting="safe")
            at = time_s if column.null_count == 0 else time_s[column.is_valid().to_numpy()]
            signals[channel.name] = Signal(channel, at, counts)
    return signals


def table_channels(channel_map: ChannelMap) -> tuple[Channel, ...]:
    """Give the channels that a trace's own file holds: all but those of fast streams."""
    slow = [stream.channels for stream in channel_map.streams if not stream.is_fast]
    return channel_map.channels + tuple(itertools.chain.from_iterable(slow))


def _held(data: bytes, columns: Collection[str]) -> list[str]:
    return [name for name in pq.read_schema(pa.BufferReader(data)).names if name in columns]


def _check_content(table: pa.Table, metadata: Mapping[bytes, bytes]) -> None:
    if metadata[_DIGEST_KEY] != _digest(metadata[_KEY], table):
        raise ValueError("its content does not have the hash that it states")


def _metadata(path: Path) -> Mapping[bytes, bytes]:
    with storage_errors(path):
        path.stat()
    with _reading(path):
        return pq.read_metadata(path).metadata or {}


def _summary(metadata: Mapping[bytes, bytes]) -> Summary:
    return Summary.from_document(json.loads(metadata[_KEY]))


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    # Puts what the parsers say into words.
    try:
        yield
    except StorageError:
        raise
    except ValidationError as error:
        raise TraceError(
            "the summary in the file is not understood by this version",
            where=str(path),
            mend="Read the trace with the version of this program that wrote it.",
        ) from error
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        said = str(error).partition("\n")[0]
        why = f"it holds no {said}" if isinstance(error, KeyError) else said
        raise TraceError(
            f"the file is no sealed trace, or is damaged: {why}",
            where=str(path),
            mend="Take the original file again; a table of another program has to be imported.",
        ) from error
