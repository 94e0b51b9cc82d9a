"""Values in Modbus registers: how they lie, and which reads fetch them."""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.model.channel import Channel, CountType
from spinproof.model.stream import WordOrder

MOST_REGISTERS = 125
"""Most registers that one read gives (Modbus Application Protocol V1.1b3, 6.3 and 6.4)."""
_BRIDGED = 8
"""Registers between two channels that are read along, rather than asking twice."""
_FORMAT = {
    CountType.U16: "H",
    CountType.I16: "h",
    CountType.U32: "I",
    CountType.I32: "i",
    CountType.F32: "f",
    CountType.F64: "d",
}


def width(kind: CountType) -> int:
    """Give how many registers a value of this type fills.

    Examples
    --------
    >>> width(CountType.F32)
    2
    """
    return max(1, struct.calcsize(f">{_FORMAT[kind]}") // 2)


def read_value(words: Sequence[int], kind: CountType, order: WordOrder) -> float:
    """Read a value out of its registers.

    Parameters
    ----------
    words : sequence of int
        The registers, by rising address.
    kind : CountType
        What they hold.
    order : WordOrder
        How it lies in them.

    Returns
    -------
    float
        The count; not a number where a float register holds none, or an infinite one.

    Examples
    --------
    >>> read_value([0x0000, 0x4148], CountType.F32, WordOrder.LITTLE)
    12.5
    """
    little_first = order in {WordOrder.LITTLE, WordOrder.LITTLE_SWAPPED}
    swapped = order in {WordOrder.BIG_SWAPPED, WordOrder.LITTLE_SWAPPED}
    placed = reversed(words) if little_first else words
    raw = struct.pack(f"{'<' if swapped else '>'}{len(words)}H", *placed)
    (value,) = struct.unpack(f">{_FORMAT[kind]}", raw)
    return float(value) if math.isfinite(value) else math.nan


@dataclass(frozen=True)
class RegisterRead:
    """Registers that one question fetches, and the channels in them.

    Attributes
    ----------
    first : int
        Address of the first register.
    count : int
        How many.
    columns : tuple of int
        Places of the channels in the stream.
    """

    first: int
    count: int
    columns: tuple[int, ...]


def plan_reads(channels: Sequence[Channel]) -> tuple[RegisterRead, ...]:
    """Put channels that lie close together into one read.

    Parameters
    ----------
    channels : sequence of Channel
        The channels of a stream.

    Returns
    -------
    tuple of RegisterRead
        The reads, by rising address.
    """
    reads: list[RegisterRead] = []
    for column in sorted(range(len(channels)), key=lambda i: channels[i].first_register):
        alone = read_alone(channels, column)
        if reads:
            last = reads[-1]
            end = max(last.first + last.count, alone.first + alone.count)
            near = alone.first - (last.first + last.count) <= _BRIDGED
            if near and end - last.first <= MOST_REGISTERS:
                reads[-1] = RegisterRead(last.first, end - last.first, (*last.columns, column))
                continue
        reads.append(alone)
    return tuple(reads)


def read_alone(channels: Sequence[Channel], column: int) -> RegisterRead:
    """Give the read that fetches one channel and nothing else."""
    channel = channels[column]
    return RegisterRead(channel.first_register, width(channel.type), (column,))
