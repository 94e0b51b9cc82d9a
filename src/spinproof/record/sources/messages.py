"""The two forms in which a message carries samples: named values as JSON, and blocks of counts.

A block is 40 bytes of head, little-endian, and then the counts, sample by sample: ``SPB1``; one
byte for the type (1 u16, 2 i16, 3 u32, 4 i32, 5 f32, 6 f64); a zero byte; channels, u16; samples,
u32; CRC-32 of the counts, u32; number of the message, u64; number of its first sample, u64; the
source's clock at that sample in nanoseconds, u64.
"""

import json
import math
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Channel, CountType
from spinproof.model.stream import StreamSpec

MAGIC = b"SPB1"
MOST_BYTES = 1 << 22
"""Longest message; a source should send several blocks a second rather than one long one."""
HEAD = struct.Struct("<4sBxHIIQQQ")
CODES = {
    1: CountType.U16,
    2: CountType.I16,
    3: CountType.U32,
    4: CountType.I32,
    5: CountType.F32,
    6: CountType.F64,
}
DTYPES = {
    CountType.U16: "<u2",
    CountType.I16: "<i2",
    CountType.U32: "<u4",
    CountType.I32: "<i4",
    CountType.F32: "<f4",
    CountType.F64: "<f8",
}


@dataclass(frozen=True, eq=False)
class Parcel:
    """What one message carries.

    Attributes
    ----------
    sequence : int
        Number of the message.
    first_sample : int
        Number of its first sample.
    time_ns : int
        The source's clock at that sample. [ns]
    counts : ndarray, shape (samples, channels)
        The samples; not a number where there is no reading.
    missing : tuple of pairs
        Channel and reason of each reading that is missing.
    """

    sequence: int
    first_sample: int
    time_ns: int
    counts: NDArray[Any]
    missing: tuple[tuple[str, str], ...] = ()


def read_message(payload: bytes, stream: StreamSpec) -> Parcel:
    """Read a message of either form.

    Parameters
    ----------
    payload : bytes
        The message.
    stream : StreamSpec
        What it should carry.

    Returns
    -------
    Parcel
        Its samples.

    Raises
    ------
    ValueError
        If it is neither, or does not carry what the stream should; the text says why.
    """
    if len(payload) > MOST_BYTES:
        raise ValueError(f"the message is larger than {MOST_BYTES >> 20} MiB")
    if payload.startswith(MAGIC):
        return _read_block(payload, stream)
    return _read_named(payload, stream.channels)


def write_block(parcel: Parcel, kind: CountType) -> bytes:
    """Write a block, as a source would.

    Parameters
    ----------
    parcel : Parcel
        The samples.
    kind : CountType
        Type of a count.

    Returns
    -------
    bytes
        The message.
    """
    code = next(code for code, each in CODES.items() if each is kind)
    body = parcel.counts.astype(DTYPES[kind]).tobytes()
    samples, channels = parcel.counts.shape
    return (
        HEAD.pack(
            MAGIC,
            code,
            channels,
            samples,
            zlib.crc32(body),
            parcel.sequence,
            parcel.first_sample,
            parcel.time_ns,
        )
        + body
    )


def _read_block(payload: bytes, stream: StreamSpec) -> Parcel:
    if len(payload) < HEAD.size:
        raise ValueError("the block ends inside its head")
    _, code, channels, samples, crc, sequence, first, time_ns = HEAD.unpack_from(payload)
    kind, body = CODES.get(code), payload[HEAD.size :]
    if kind is None or any(channel.type is not kind for channel in stream.channels):
        raise ValueError(f"the block's counts are of type {kind or code}, not that of the map")
    if channels != len(stream.channels):
        raise ValueError(f"the block has {channels} channels, the map {len(stream.channels)}")
    dtype = np.dtype(DTYPES[kind])
    if samples == 0 or len(body) != samples * channels * dtype.itemsize:
        raise ValueError(f"the block says {samples} samples and has {len(body)} bytes of them")
    if zlib.crc32(body) != crc:
        raise ValueError("the block's checksum does not fit")
    if max(sequence, first, time_ns) >= 2**63:
        raise ValueError("a number in the block's head is too large")
    counts = np.frombuffer(body, dtype).reshape(samples, channels)
    missing: list[tuple[str, str]] = []
    if dtype.kind == "f" and not np.isfinite(counts).all():
        counts = np.where(np.isfinite(counts), counts, np.nan).astype(dtype)
        empty = np.isnan(counts).any(axis=0)
        missing = [
            (channel.name, "the value is not a number")
            for channel, is_empty in zip(stream.channels, empty, strict=True)
            if is_empty
        ]
    return Parcel(sequence, first, time_ns, counts, tuple(missing))


def _read_named(payload: bytes, channels: tuple[Channel, ...]) -> Parcel:
    try:
        message = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise ValueError("the message is neither a block nor JSON") from error
    if not isinstance(message, dict) or not isinstance(message.get("values"), dict):
        raise ValueError('the message has no "values"')  # noqa: TRY004 - a message, not an argument
    sequence, time_ns = (_whole(message, key) for key in ("sequence", "time_ns"))
    row, missing = [], []
    for channel in channels:
        value, reason = _reading(message["values"], channel)
        row.append(value)
        if reason:
            missing.append((channel.name, reason))
    return Parcel(sequence, sequence, time_ns, np.array([row]), tuple(missing))


def _whole(message: Mapping[str, Any], key: str) -> int:
    value = message.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**63:
        raise ValueError(f'the message has no whole number "{key}"')
    return value


def _reading(values: Mapping[str, Any], channel: Channel) -> tuple[float, str]:
    """Give a reading, and why there is none."""
    value = values.get(channel.node or channel.name)
    if value is None:
        return math.nan, "the message does not tell it"
    if not isinstance(value, int | float) or isinstance(value, bool):
        return math.nan, "the value is no number"
    try:
        number = float(value)
    except OverflowError:
        return math.nan, "the value is too large"
    if not math.isfinite(number):
        return math.nan, "the value is not a number"
    if channel.missing is not None and number == channel.missing:
        return math.nan, f"the device sends {channel.missing}: no reading"
    return number, ""
