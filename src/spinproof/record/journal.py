"""The journal of a run while it is recorded: written by the recorder, followed by pages."""

import json
import os
import threading
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Annotated, BinaryIO, Self, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from spinproof.files.canonical import canonical_json
from spinproof.files.durable import storage_errors, sync_folder, write_all
from spinproof.model.errors import JournalError
from spinproof.model.noun import Noun
from spinproof.model.run import Ending, RunHeader
from spinproof.model.trace import Signal
from spinproof.record.blocks import (
    RecordLayout,
    decode_signals,
    parse_block,
    stack_records,
)
from spinproof.record.frames import (
    FRAME_HEAD_BYTES,
    Frame,
    FrameKind,
    frame_bytes,
    next_frame,
)
from spinproof.record.journal_sync import JournalSync
from spinproof.record.stream_block import StreamBlock
from spinproof.record.streams import (
    parse_stream,
    stream_of,
    stream_payload,
)

N = TypeVar("N", bound=Noun)

SUFFIX = ".journal"
"""How the name of a journal ends."""
SYNC_NS = 1_000_000_000
"""How long a frame may wait until it is sent to the disk. [ns]"""


class Opening(Noun):
    """What is known about a run before its first sample."""

    header: RunHeader
    run_number: int
    """Number that the stand gives the run; 0 without a stand."""
    layout: RecordLayout | None
    """How the stand packs its samples; absent when streams alone are recorded."""


class SourceNotice(Noun):
    """Something that a source of a stream had to say."""

    stream: str
    channel: str | None
    text: str
    first_ns: int
    """Monotonic time of the host when it happened first. [ns]"""
    times: int


class Closing(Noun):
    """How the recording ended."""

    ending: Ending
    notices: Annotated[tuple[SourceNotice, ...], Field(strict=False)] = ()
    """What the sources of streams had to say."""


class JournalWriter:
    """Appends frames to a new journal; each second they are sent to the disk.

    Any thread may append. The flush runs in a thread of its own; only a disk that stalls for
    more than a second is waited for, so that a power cut never takes more than two.

    Parameters
    ----------
    path : Path
        The journal; it must be missing or empty.
    opening : Opening
        What is known about the run.
    now_ns : int
        Monotonic time. [ns]

    Raises
    ------
    JournalError
        If the journal holds something already.
    """

    def __init__(self, path: Path, opening: Opening, now_ns: int) -> None:
        self.path = path
        self._size = 0
        self._asked_ns = now_ns
        self._streams = {s.name: i for i, s in enumerate(opening.header.channel_map.streams)}
        self._lock = threading.RLock()
        with storage_errors(path):
            self._descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        self._flusher = JournalSync(self._descriptor)
        try:
            self._begin(opening, now_ns)
        except BaseException:
            self._release()
            raise

    def append_block(self, registers: bytes, now_ns: int) -> None:
        """Append a raw block.

        Parameters
        ----------
        registers : bytes
            The block's registers, big-endian.
        now_ns : int
            Monotonic time at which it arrived. [ns]
        """
        self._append(FrameKind.BLOCK, registers, now_ns)

    def append_stream(self, block: StreamBlock) -> None:
        """Append a block of a stream, under the time of its arrival.

        Parameters
        ----------
        block : StreamBlock
            The block; its stream must stand in the channel map of the run.
        """
        payload = stream_payload(block, self._streams[block.stream])
        self._append(FrameKind.STREAM, payload, block.arrival_ns)

    def keep_durable(self, now_ns: int) -> None:
        """Have the journal flushed when that was last asked for a second ago; cheap otherwise.

        Parameters
        ----------
        now_ns : int
            Monotonic time. [ns]

        Notes
        -----
        It waits only for a flush that is not through after a second. StorageError says that an
        earlier flush failed.
        """
        with self._lock:
            if now_ns - self._asked_ns >= SYNC_NS:
                self.wait_durable()
                self._flusher.ask()
                self._asked_ns = now_ns

    def wait_durable(self) -> None:
        """Wait until what was sent to the disk is there; StorageError says that it failed."""
        self._flusher.wait()
        with self._lock:
            self._raise_failed_flush()

    def close(self, ending: Ending, now_ns: int, notices: Sequence[SourceNotice] = ()) -> None:
        """Append the closing frame, flush, and close the file.

        Parameters
        ----------
        ending : Ending
            How the recording ended.
        now_ns : int
            Monotonic time. [ns]
        notices : sequence of SourceNotice, optional
            What the sources of streams had to say.
        """
        closing = Closing(ending=ending, notices=tuple(notices))
        self._sync()  # once the closing frame is on the disk, all frames before it are
        self._append(FrameKind.CLOSING, canonical_json(closing.to_document()), now_ns)
        self._sync()
        self._release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._release()

    def _begin(self, opening: Opening, now_ns: int) -> None:
        if os.fstat(self._descriptor).st_size:
            raise JournalError(
                "the journal holds a recording already",
                where=str(self.path),
                mend="Seal that recording first, or give this run another number.",
            )
        self._append(FrameKind.OPENING, canonical_json(opening.to_document()), now_ns)
        self._sync()
        with storage_errors(self.path):
            sync_folder(self.path.parent)

    def _append(self, kind: FrameKind, payload: bytes, now_ns: int) -> None:
        frame = frame_bytes(kind, now_ns, payload)
        with self._lock, storage_errors(self.path, safe=self._safe()):
            self._raise_failed_flush()
            try:
                write_all(self._descriptor, frame)
                self._size += len(frame)
            except BaseException as error:  # an interrupt, too, may leave half a frame
                os.ftruncate(self._descriptor, self._size)
                if isinstance(error, OSError):
                    self._release()
                raise

    def _sync(self) -> None:
        self._flusher.ask()
        self.wait_durable()

    def _raise_failed_flush(self) -> None:
        if self._flusher.error is not None:
            with storage_errors(self.path, safe=self._safe()):
                self._release()
                raise self._flusher.error

    def _safe(self) -> str:
        return f"the first {self._size} bytes of the journal stay, and are sealed at the next start"

    def _release(self) -> None:
        if self._descriptor >= 0:
            self._flusher.stop()
            os.close(self._descriptor)
            self._descriptor = -1


class JournalFollower:
    """Reads a journal while it is being written, for pages that watch a run.

    Parameters
    ----------
    path : Path
        The journal; it need not exist yet.
    """

    def __init__(self, path: Path) -> None:
        self.opening: Opening | None = None
        """What is known about the run, once its first frame is there."""
        self.ending: Ending | None = None
        """How the recording ended, once it has."""
        self._path = path
        self._file: BinaryIO | None = None
        self._offset = 0
        self._origin: int | None = None
        self._origin_ns: int | None = None

    def poll(self) -> Mapping[str, Signal]:
        """Give the samples that arrived since the last call; never waits for more.

        Returns
        -------
        mapping of str to Signal
            By channel name; empty when nothing new is there.
        """
        payloads, streams = [], []
        for frame in self._new_frames():
            match frame.kind:
                case FrameKind.OPENING:
                    self.opening = read_noun(frame, Opening, self._path)
                case FrameKind.BLOCK:
                    payloads.append(frame.payload)
                    self._origin_ns = self._origin_ns or frame.time_ns
                case FrameKind.STREAM:
                    self._origin_ns = self._origin_ns or frame.time_ns
                    streams += self._slow(frame)
                case FrameKind.CLOSING:
                    self.ending = read_noun(frame, Closing, self._path).ending
        on_stand = self._decode(payloads) if payloads else {}
        return {**on_stand, **self._decode_streams(streams)}

    def close(self) -> None:
        """Close the file; until then even a journal that was removed after sealing is readable."""
        if self._file is not None:
            self._file.close()

    def _new_frames(self) -> Iterator[Frame]:
        if self._file is None and not self._path.exists():
            return
        with storage_errors(self._path):
            self._file = self._file or self._path.open("rb", buffering=0)
            self._file.seek(self._offset)
            while (frame := next_frame(self._file)) is not None:
                self._offset += FRAME_HEAD_BYTES + len(frame.payload)
                yield frame

    def _slow(self, frame: Frame) -> list[StreamBlock]:
        # The block, unless it is of a fast stream: no page draws those sample by sample.
        if self.opening is None:
            return []
        stream = self.opening.header.channel_map.streams[stream_of(frame.payload)]
        return [] if stream.is_fast else [parse_stream(frame.payload, stream.name, frame.time_ns)]

    def _decode_streams(self, blocks: list[StreamBlock]) -> Mapping[str, Signal]:
        if self.opening is None or self._origin_ns is None:
            return {}
        signals = {}
        for stream in self.opening.header.channel_map.streams:
            own = [block for block in blocks if block.stream == stream.name]
            if own:
                times = [arrival_times(b, stream.sample_rate_hz, self._origin_ns) for b in own]
                counts = np.concatenate([block.counts for block in own])
                for channel, column in zip(stream.channels, counts.T, strict=True):
                    signals[channel.name] = Signal(channel, np.concatenate(times), column)
        return signals

    def _decode(self, payloads: list[bytes]) -> Mapping[str, Signal]:
        if self.opening is None or self.opening.layout is None:
            return {}
        layout = self.opening.layout
        blocks = [parse_block(payload, layout) for payload in payloads]
        if self._origin is None:
            self._origin = blocks[0].head.first_sample
        numbers = [np.arange(b.head.samples) + b.head.first_sample for b in blocks]
        return decode_signals(
            self.opening.header.channel_map,
            layout,
            np.concatenate(numbers),
            stack_records(blocks, layout),
            self._origin,
        )


def arrival_times(block: StreamBlock, rate_hz: float, origin_ns: int) -> NDArray[np.float64]:
    """Give roughly when the samples of a block were taken, by its arrival alone.

    Parameters
    ----------
    block : StreamBlock
        The block.
    rate_hz : float
        Rate of the stream. [Hz]
    origin_ns : int
        Monotonic time of the host that counts as zero. [ns]

    Returns
    -------
    ndarray
        Times, good enough for a page; the sealed trace knows them better. [s]
    """
    last_s = (block.arrival_ns - origin_ns) / 1e9
    if block.times_ns is not None and block.times_ns.size:
        return np.asarray(last_s + (block.times_ns - block.times_ns[-1]) / 1e9)
    return np.asarray(last_s - np.arange(len(block.counts))[::-1] / rate_hz)


def read_noun(frame: Frame, noun: type[N], path: Path) -> N:
    """Read the noun that a frame holds.

    Parameters
    ----------
    frame : Frame
        The frame.
    noun : type of Noun
        What it should hold.
    path : Path
        The journal, for the message.

    Returns
    -------
    Noun
        What it holds.

    Raises
    ------
    JournalError
        If it is not understood.
    """
    try:
        return noun.from_document(json.loads(frame.payload))
    except ValueError as error:  # pydantic's ValidationError is one
        raise JournalError(
            f"the {frame.kind.name.lower()} frame is whole, but not understood",
            where=str(path),
            mend="Read the journal with the version of this program that wrote it.",
        ) from error
