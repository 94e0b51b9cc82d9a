"""The journal of a run: written while it is recorded, readable after a crash at any moment."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self, TypeVar

import numpy as np

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
    find_frames,
    frame_bytes,
    split_frames,
)

N = TypeVar("N", bound=Noun)

SUFFIX = ".journal"
"""How the name of a journal ends."""
SYNC_NS = 1_000_000_000
"""How long a frame may wait until it is on the disk. [ns]"""
_TAIL_NS = 2 * SYNC_NS


class Opening(Noun):
    """What is known about a run before its first sample."""

    header: RunHeader
    run_number: int
    """Number that the stand gives the run."""
    layout: RecordLayout


class Closing(Noun):
    """How the recording ended."""

    ending: Ending


@dataclass(frozen=True)
class Journal:
    """A journal, read back.

    Attributes
    ----------
    opening : Opening
        What was known before the first sample.
    blocks : tuple of bytes
        The raw blocks in the order in which they arrived.
    ending : Ending or None
        How the recording ended, or None when the recorder died.
    left_out : int
        Bytes near the end that are no whole frame.
    """

    opening: Opening
    blocks: tuple[bytes, ...]
    ending: Ending | None
    left_out: int


class JournalWriter:
    """Appends frames to a new journal; what was appended a second ago is on the disk.

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
        self._synced_ns = now_ns
        with storage_errors(path):
            self._descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
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

    def keep_durable(self, now_ns: int) -> None:
        """Flush to the disk when the last flush is a second ago; cheap otherwise.

        Parameters
        ----------
        now_ns : int
            Monotonic time. [ns]
        """
        if now_ns - self._synced_ns >= SYNC_NS:
            self._sync()
            self._synced_ns = now_ns

    def close(self, ending: Ending, now_ns: int) -> None:
        """Append the closing frame, flush, and close the file.

        Parameters
        ----------
        ending : Ending
            How the recording ended.
        now_ns : int
            Monotonic time. [ns]
        """
        closing = Closing(ending=ending)
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
        with storage_errors(self.path, safe=self._safe()):
            try:
                write_all(self._descriptor, frame)
                self._size += len(frame)
            except BaseException as error:  # an interrupt, too, may leave half a frame
                os.ftruncate(self._descriptor, self._size)
                if isinstance(error, OSError):
                    self._release()
                raise

    def _sync(self) -> None:
        with storage_errors(self.path, safe=self._safe()):
            try:
                os.fdatasync(self._descriptor)
            except OSError:  # a second try would report success for bytes that are lost
                self._release()
                raise

    def _safe(self) -> str:
        return f"the first {self._size} bytes of the journal stay, and are sealed at the next start"

    def _release(self) -> None:
        if self._descriptor >= 0:
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

    def poll(self) -> Mapping[str, Signal]:
        """Give the samples that arrived since the last call; never waits for more.

        Returns
        -------
        mapping of str to Signal
            By channel name; empty when nothing new is there.
        """
        payloads = []
        for frame in self._new_frames():
            match frame.kind:
                case FrameKind.OPENING:
                    self.opening = _read(frame, Opening, self._path)
                case FrameKind.BLOCK:
                    payloads.append(frame.payload)
                case FrameKind.CLOSING:
                    self.ending = _read(frame, Closing, self._path).ending
        return self._decode(payloads) if payloads else {}

    def close(self) -> None:
        """Close the file; until then even a journal that was removed after sealing is readable."""
        if self._file is not None:
            self._file.close()

    def _new_frames(self) -> list[Frame]:
        if self._file is None and not self._path.exists():
            return []
        with storage_errors(self._path):
            self._file = self._file or self._path.open("rb", buffering=0)
            self._file.seek(self._offset)
            frames, end = split_frames(self._file.read())
        self._offset += end
        return frames

    def _decode(self, payloads: list[bytes]) -> Mapping[str, Signal]:
        if self.opening is None:
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


def read_journal(path: Path) -> Journal:
    """Read a journal, whether or not its recorder lived to close it.

    Parameters
    ----------
    path : Path
        The journal.

    Returns
    -------
    Journal
        All whole frames, also those behind a torn one; what was left out is stated.

    Raises
    ------
    JournalError
        If the journal is damaged before its tail, or its first frame is missing.
    """
    with storage_errors(path):
        data = path.read_bytes()
    frames, end = split_frames(data)
    if not frames or frames[0].kind is not FrameKind.OPENING:
        raise JournalError(
            "the file does not begin with the opening frame of a journal",
            where=f"{path}, offset 0",
            mend="Keep the file; without its first frame nobody knows which run it is.",
        )
    tail = find_frames(data, end)
    if not _is_torn_tail(frames, tail, len(data) - end):
        raise JournalError(
            f"a frame is damaged in the middle of the journal: {len(frames)} frames stand before "
            f"it and {len(tail)} behind it",
            where=f"{path}, offset {end}",
            mend="Keep the file, repeat the run, and check the disk: this is no power cut.",
        )
    closing = [frame for frame in frames if frame.kind is FrameKind.CLOSING]
    return Journal(
        opening=_read(frames[0], Opening, path),
        blocks=tuple(frame.payload for frame in frames + tail if frame.kind is FrameKind.BLOCK),
        ending=_read(closing[0], Closing, path).ending if closing else None,
        left_out=len(data) - end - sum(FRAME_HEAD_BYTES + len(f.payload) for f in tail),
    )


def has_frames(path: Path) -> bool:
    """Tell whether any whole frame can be found in a journal, however damaged.

    Parameters
    ----------
    path : Path
        The journal.

    Returns
    -------
    bool
        False when the recorder died before it had announced the run.
    """
    with storage_errors(path):
        data = path.read_bytes()
    return bool(find_frames(data, 0))


def _is_torn_tail(frames: list[Frame], tail: list[Frame], rest: int) -> bool:
    """Tell what a power cut does from other damage.

    It tears, in any order, what was written since the last flush, and nothing older; a closing
    frame is written after a flush of its own.
    """
    if any(frame.kind is FrameKind.CLOSING for frame in frames):
        return rest == 0
    if any(frame.kind is FrameKind.CLOSING for frame in tail):
        return False
    return not tail or tail[-1].time_ns - tail[0].time_ns <= _TAIL_NS


def _read(frame: Frame, noun: type[N], path: Path) -> N:
    try:
        return noun.from_document(json.loads(frame.payload))
    except ValueError as error:  # pydantic's ValidationError is one
        raise JournalError(
            f"the {frame.kind.name.lower()} frame is whole, but not understood",
            where=str(path),
            mend="Read the journal with the version of this program that wrote it.",
        ) from error
