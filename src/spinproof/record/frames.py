"""Frames of a journal: each carries its kind, length, time and a checksum over all of it.

::

    magic "SPJ1" | kind u8 | length u32 | time u64 [ns, monotonic] | CRC-32 u32 | payload

All numbers are big-endian. The checksum covers kind, length, time and payload.
"""

import struct
import zlib
from enum import IntEnum
from mmap import mmap
from typing import BinaryIO, NamedTuple

MAGIC = b"SPJ1"
_HEAD = struct.Struct(">4sBIQI")
_COVERED = struct.Struct(">BIQ")
FRAME_HEAD_BYTES = _HEAD.size
LONGEST_PAYLOAD = 1 << 24
"""Longest content of a frame; a longer one is damage. [byte]"""


class FrameKind(IntEnum):
    """What a frame holds."""

    OPENING = 1
    """What is known about the run before its first sample, as JSON."""
    BLOCK = 2
    """A block of registers as the stand sent it, big-endian."""
    CLOSING = 3
    """How the recording ended, as JSON."""
    STREAM = 4
    """A block of a stream, as its source delivered it."""


_KINDS = frozenset(FrameKind)


class Frame(NamedTuple):
    """One frame, found whole."""

    kind: FrameKind
    time_ns: int
    """Monotonic time of the host at which the frame was made. [ns]"""
    payload: bytes


def frame_checksum(kind: int, time_ns: int, payload: bytes) -> int:
    """Give the CRC-32 of a frame.

    Parameters
    ----------
    kind : int
        Kind of the frame.
    time_ns : int
        Its time. [ns]
    payload : bytes
        Its content.

    Returns
    -------
    int
        The checksum, an unsigned 32-bit number.
    """
    return zlib.crc32(payload, zlib.crc32(_COVERED.pack(kind, len(payload), time_ns)))


def frame_bytes(kind: FrameKind, time_ns: int, payload: bytes) -> bytes:
    """Put a frame into bytes.

    Parameters
    ----------
    kind : FrameKind
        What the payload is.
    time_ns : int
        Monotonic time. [ns]
    payload : bytes
        The content, up to 16 MiB.

    Returns
    -------
    bytes
        The frame.
    """
    checksum = frame_checksum(kind, time_ns, payload)
    return _HEAD.pack(MAGIC, kind, len(payload), time_ns, checksum) + payload


def split_frames(data: bytes, start: int = 0) -> tuple[list[Frame], int]:
    """Take whole frames off some bytes, up to the first that is torn or damaged.

    Parameters
    ----------
    data : bytes
        Frames, one behind the other.
    start : int
        Where the first one begins.

    Returns
    -------
    frames : list of Frame
        The whole frames.
    end : int
        Where the first byte that is no part of them lies.
    """
    frames = []
    while (frame := _frame_at(data, start)) is not None:
        frames.append(frame)
        start += FRAME_HEAD_BYTES + len(frame.payload)
    return frames, start


def next_frame(file: BinaryIO) -> Frame | None:
    """Read the next frame of a file.

    Parameters
    ----------
    file : BinaryIO
        The file, where a frame begins.

    Returns
    -------
    Frame or None
        The frame; None at the end of the file, or where it is torn or damaged.
    """
    head = file.read(FRAME_HEAD_BYTES)
    if len(head) < FRAME_HEAD_BYTES:
        return None
    magic, _, length, _, _ = _HEAD.unpack(head)
    if magic != MAGIC or length > LONGEST_PAYLOAD:
        return None
    return _frame_at(head + file.read(length), 0)


def find_frames(data: bytes | mmap, start: int) -> list[tuple[int, Frame]]:
    """Find whole frames behind damage.

    Parameters
    ----------
    data : bytes
        What may hold frames anywhere.
    start : int
        Where to begin the search.

    Returns
    -------
    list of (int, Frame)
        The whole frames found, in order, and where each begins.
    """
    found = []
    while (start := data.find(MAGIC, start)) >= 0:
        frame = _frame_at(data, start)
        if frame is None:
            start += 1
        else:
            found.append((start, frame))
            start += FRAME_HEAD_BYTES + len(frame.payload)
    return found


def _frame_at(data: bytes | mmap, start: int) -> Frame | None:
    if len(data) - start < FRAME_HEAD_BYTES:
        return None
    magic, kind, length, time_ns, checksum = _HEAD.unpack_from(data, start)
    end = start + FRAME_HEAD_BYTES + length
    if magic != MAGIC or length > LONGEST_PAYLOAD or end > len(data):
        return None
    payload = data[start + FRAME_HEAD_BYTES : end]
    if frame_checksum(kind, time_ns, payload) != checksum or kind not in _KINDS:
        return None
    return Frame(FrameKind(kind), time_ns, payload)
