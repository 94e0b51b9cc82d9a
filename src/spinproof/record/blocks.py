"""Raw blocks of a test stand: their head, their sample records, and the channels in them."""

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from spinproof.model.channel import Channel, CountType
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError, TraceError
from spinproof.model.noun import Noun
from spinproof.model.registers import BLOCK_HEAD
from spinproof.model.trace import Signal

_HEAD = struct.Struct(">IIQHH")
_RATE_TOLERANCE = 0.01
_WIRE = {
    CountType.U16: ">u2",
    CountType.I16: ">i2",
    CountType.U32: ">u4",
    CountType.I32: ">i4",
    CountType.F32: ">f4",
    CountType.F64: ">f8",
}

Count = Annotated[int, Field(ge=1)]


class RecordLayout(Noun):
    """How a stand packs its samples into blocks."""

    record_registers: Count
    """Registers of one sample record."""
    samples_per_block: Count
    sample_period_us: Count
    """Time between two samples. [us]"""

    @property
    def block_registers(self) -> int:
        """Registers of one block, its head included."""
        return BLOCK_HEAD + self.samples_per_block * self.record_registers


class BlockHead(NamedTuple):
    """The head of a block."""

    number: int
    first_sample: int
    """Number of the block's first sample since the start of the run."""
    device_time_us: int
    """The device's clock at that sample. [us]"""
    run_number: int
    samples: int


@dataclass(frozen=True, eq=False)
class Block:
    """A block, taken apart.

    Attributes
    ----------
    head : BlockHead
        Its numbers and time.
    records : ndarray
        One row per sample, one column per register.
    """

    head: BlockHead
    records: NDArray[np.uint16]


def read_head(payload: bytes) -> BlockHead:
    """Read the head of a raw block.

    Parameters
    ----------
    payload : bytes
        The block's registers, big-endian; at least its head.

    Returns
    -------
    BlockHead
        The head.
    """
    return BlockHead._make(_HEAD.unpack_from(payload))


def parse_block(payload: bytes, layout: RecordLayout) -> Block:
    """Take a raw block apart.

    Parameters
    ----------
    payload : bytes
        The block's registers, big-endian.
    layout : RecordLayout
        How the stand packs its samples.

    Returns
    -------
    Block
        The block; the unused rest of a block that is not full is left out.

    Raises
    ------
    TraceError
        If the block is shorter than its head says.
    """
    head = read_head(payload) if len(payload) >= _HEAD.size else None
    wanted = 0 if head is None else _HEAD.size + 2 * layout.record_registers * head.samples
    if head is None or len(payload) < wanted:
        raise TraceError(
            f"a block of {len(payload)} bytes is shorter than its head says",
            where=f"block {head.number}" if head else "a block without a head",
            mend="Check that the stand speaks the protocol version that it states.",
        )
    words = np.frombuffer(payload, dtype=">u2", offset=_HEAD.size, count=(wanted - _HEAD.size) // 2)
    records = words.astype(np.uint16).reshape(head.samples, layout.record_registers)
    return Block(head, records)


def check_map(channel_map: ChannelMap, layout: RecordLayout) -> None:
    """Refuse a channel map that does not fit the stand's records.

    Parameters
    ----------
    channel_map : ChannelMap
        The map.
    layout : RecordLayout
        How the stand packs its samples.

    Raises
    ------
    DocumentError
        If a channel lies outside the record, or its rate is no whole fraction of the stand's.
    """
    rate = 1e6 / layout.sample_period_us
    for channel in channel_map.channels:
        last = channel.first_register + _width(channel) - 1
        if last >= layout.record_registers:
            raise DocumentError(
                f"the channel ends at register {last}, but a sample record of the stand has "
                f"registers 0 to {layout.record_registers - 1}",
                where=f"channel map {channel_map.name}, channel {channel.name}",
                mend="Correct first_register or type of that channel.",
            )
        sampled = rate / channel_stride(channel, layout)
        if abs(channel.sample_rate_hz - sampled) > _RATE_TOLERANCE * sampled:
            raise DocumentError(
                f"the rate of {channel.sample_rate_hz:g} Hz is no whole fraction of the "
                f"{rate:g} Hz at which the stand samples",
                where=f"channel map {channel_map.name}, channel {channel.name}",
                mend=f"Give {rate:g} Hz, or that divided by a whole number.",
            )


def channel_stride(channel: Channel, layout: RecordLayout) -> int:
    """Give how many records lie between two samples of a channel.

    Parameters
    ----------
    channel : Channel
        The channel.
    layout : RecordLayout
        How the stand packs its samples.

    Returns
    -------
    int
        1 for a channel that is sampled in each record.
    """
    return max(1, round(1e6 / layout.sample_period_us / channel.sample_rate_hz))


def count_type(channel: Channel) -> np.dtype[Any]:
    """Give the type in which a channel's counts are held, in memory and in the sealed file.

    Parameters
    ----------
    channel : Channel
        The channel.

    Returns
    -------
    dtype
        In the machine's own byte order.
    """
    return np.dtype(_WIRE[channel.type]).newbyteorder("=")


def decode_counts(
    channel: Channel, records: NDArray[np.uint16], word_order: str = "big"
) -> NDArray[Any]:
    """Decode one channel out of sample records; its scale is left unapplied.

    Parameters
    ----------
    channel : Channel
        Where the channel lies, and its type.
    records : ndarray
        One row per sample, one column per register.
    word_order : str
        "big" when the high word of a longer value comes first, else "little".

    Returns
    -------
    ndarray
        One count per record, in the machine's own byte order.
    """
    words = records[:, channel.first_register : channel.first_register + _width(channel)]
    if word_order == "little":
        words = words[:, ::-1]
    counts = np.ascontiguousarray(words, dtype=">u2").view(_WIRE[channel.type])[:, 0]
    return counts.astype(count_type(channel))


def decode_signals(
    channel_map: ChannelMap,
    layout: RecordLayout,
    sample_numbers: NDArray[np.int64],
    records: NDArray[np.uint16],
    origin: int,
) -> dict[str, Signal]:
    """Decode all channels out of sample records.

    Parameters
    ----------
    channel_map : ChannelMap
        Which channel lies where.
    layout : RecordLayout
        How the stand packs its samples.
    sample_numbers : ndarray of int
        Number of each record since the start of the run, rising.
    records : ndarray
        One row per sample, one column per register.
    origin : int
        Number of the sample at which the time starts.

    Returns
    -------
    dict of str to Signal
        By channel name; a channel with a lower rate holds every k-th sample.
    """
    time_s = sample_times(sample_numbers, origin, layout)
    signals = {}
    for channel in channel_map.channels:
        sampled = sample_numbers % channel_stride(channel, layout) == 0
        counts = decode_counts(channel, records[sampled], channel_map.word_order)
        signals[channel.name] = Signal(channel, time_s[sampled], counts)
    return signals


def sample_times(
    sample_numbers: NDArray[np.int64], origin: int, layout: RecordLayout
) -> NDArray[np.float64]:
    """Give the time of samples from their numbers; the device's clock plays no part in it.

    Parameters
    ----------
    sample_numbers : ndarray of int
        Numbers since the start of the run.
    origin : int
        Number of the sample at which the time starts.
    layout : RecordLayout
        Carries the sample period.

    Returns
    -------
    ndarray
        Times. [s]
    """
    return np.asarray((sample_numbers - origin) * layout.sample_period_us / 1e6, dtype=np.float64)


def stack_records(blocks: Iterable[Block], layout: RecordLayout) -> NDArray[np.uint16]:
    """Put the records of blocks under one another.

    Parameters
    ----------
    blocks : iterable of Block
        The blocks.
    layout : RecordLayout
        Gives the width when there is no block.

    Returns
    -------
    ndarray
        One row per sample.
    """
    empty = np.empty((0, layout.record_registers), dtype=np.uint16)
    return np.concatenate([empty, *(block.records for block in blocks)])


def _width(channel: Channel) -> int:
    return count_type(channel).itemsize // 2
