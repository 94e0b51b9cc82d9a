"""Reading the journal of a run back, also after a crash at any moment."""

import mmap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from spinproof.files.durable import storage_errors
from spinproof.model.errors import JournalError
from spinproof.model.run import Ending
from spinproof.record.frames import (
    FRAME_HEAD_BYTES,
    Frame,
    FrameKind,
    find_frames,
    next_frame,
)
from spinproof.record.journal import SYNC_NS, Closing, Opening, SourceNotice, read_noun
from spinproof.record.stream_block import StreamBlock
from spinproof.record.streams import StreamEntry, parse_stream, stream_entry

_TAIL_NS = 2 * SYNC_NS


@dataclass(frozen=True)
class Journal:
    """A journal, read back.

    Attributes
    ----------
    path : Path
        Where it lies.
    opening : Opening
        What was known before the first sample.
    blocks : tuple of bytes
        The raw blocks of the stand in the order in which they arrived.
    arrivals_ns : tuple of int
        When each of them arrived, by the host's monotonic clock. [ns]
    entries : tuple of StreamEntry
        What the blocks of streams say in their heads, in the order of arrival; their samples
        stay on the disk.
    ending : Ending or None
        How the recording ended, or None when the recorder died.
    notices : tuple of SourceNotice
        What the sources of streams had to say.
    left_out : int
        Bytes near the end that are no whole frame.
    """

    path: Path
    opening: Opening
    blocks: tuple[bytes, ...]
    arrivals_ns: tuple[int, ...]
    entries: tuple[StreamEntry, ...]
    ending: Ending | None
    notices: tuple[SourceNotice, ...]
    left_out: int

    def stream_payloads(self, entries: Iterable[StreamEntry]) -> Iterator[bytes]:
        """Give what the frames of some blocks hold, read from the disk one after the other.

        Parameters
        ----------
        entries : iterable of StreamEntry
            Heads of the blocks.

        Yields
        ------
        bytes
            The content of each frame.

        Raises
        ------
        JournalError
            If the disk does not give back what it gave before.
        """
        with storage_errors(self.path), self.path.open("rb") as file:
            for entry in entries:
                file.seek(entry.place)
                frame = next_frame(file)
                if frame is None:
                    raise JournalError(
                        "a frame that was whole cannot be read any more",
                        where=f"{self.path}, offset {entry.place}",
                        mend="Check the disk, then seal the journal again.",
                    )
                yield frame.payload

    def stream_blocks(self, entries: Iterable[StreamEntry]) -> Iterator[StreamBlock]:
        """Give blocks of streams with their samples, read from the disk one after the other."""
        entries = tuple(entries)
        streams = self.opening.header.channel_map.streams
        for entry, payload in zip(entries, self.stream_payloads(entries), strict=True):
            yield parse_stream(payload, streams[entry.stream].name, entry.arrival_ns)


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
    with storage_errors(path), path.open("rb") as file:
        reading = _Reading(path)
        while (frame := next_frame(file)) is not None:
            reading.take(frame, reading.end)
            reading.end += FRAME_HEAD_BYTES + len(frame.payload)
        rest = path.stat().st_size - reading.end
    tail = _behind(path, reading.end) if rest else []
    if reading.opening is None:
        raise JournalError(
            "the file does not begin with the opening frame of a journal",
            where=f"{path}, offset 0",
            mend="Keep the file; without its first frame nobody knows which run it is.",
        )
    if not _is_torn_tail(reading.closing, [frame for _, frame in tail], rest):
        raise JournalError(
            f"a frame is damaged in the middle of the journal: {reading.frames} frames stand "
            f"before it and {len(tail)} behind it",
            where=f"{path}, offset {reading.end}",
            mend="Keep the file, repeat the run, and check the disk: this is no power cut.",
        )
    for place, frame in tail:
        reading.take(frame, place)
    return Journal(
        path=path,
        opening=reading.opening,
        blocks=tuple(frame.payload for frame in reading.blocks),
        arrivals_ns=tuple(frame.time_ns for frame in reading.blocks),
        entries=tuple(reading.entries),
        ending=reading.closing.ending if reading.closing else None,
        notices=reading.closing.notices if reading.closing else (),
        left_out=rest - sum(FRAME_HEAD_BYTES + len(frame.payload) for _, frame in tail),
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
    return bool(_behind(path, 0))


class _Reading:
    """What was read of a journal so far; samples of streams are left on the disk."""

    def __init__(self, path: Path) -> None:
        self.opening: Opening | None = None
        self.closing: Closing | None = None
        self.end = 0
        self.frames = 0
        self._path = path
        self.blocks: list[Frame] = []
        self.entries: list[StreamEntry] = []

    def take(self, frame: Frame, place: int) -> None:
        """Take a frame in that begins at some place."""
        self.frames += 1
        match frame.kind:
            case FrameKind.OPENING if self.frames == 1:
                self.opening = read_noun(frame, Opening, self._path)
            case FrameKind.BLOCK:
                self.blocks.append(frame)
            case FrameKind.STREAM:
                self.entries.append(stream_entry(frame.payload, frame.time_ns, place))
            case FrameKind.CLOSING if self.closing is None:
                self.closing = read_noun(frame, Closing, self._path)


def _behind(path: Path, start: int) -> list[tuple[int, Frame]]:
    """Find whole frames from some place on, behind damage."""
    with storage_errors(path), path.open("rb") as file:
        if path.stat().st_size <= start:
            return []
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            return find_frames(data, start)


def _is_torn_tail(closing: Closing | None, tail: list[Frame], rest: int) -> bool:
    """Tell what a power cut does from other damage.

    It tears, in any order, what was written since the last flush, and nothing older; a closing
    frame is written after a flush of its own.
    """
    if closing is not None:
        return rest == 0
    if any(frame.kind is FrameKind.CLOSING for frame in tail):
        return False
    times = [frame.time_ns for frame in tail]
    return not tail or max(times) - min(times) <= _TAIL_NS
