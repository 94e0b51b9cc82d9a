"""Check a channel map: by itself, and against what its sources really send."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from spinproof.app.sources import NOT_NAMED
from spinproof.model.channel import Channel, CountType, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.quantity import UNITS
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.record.sources.registers import width

TOP_SPEED_RPM = 4000.0
"""Fastest speed that a pulse counter is checked for, unless the head's own is given. [rpm]"""
_TINY = 1e-9
_MODBUS = {SourceKind.MODBUS_TCP, SourceKind.MODBUS_RTU_OVER_TCP}
_BITS = {CountType.U16: 16, CountType.I16: 16, CountType.U32: 32, CountType.I32: 32}


@dataclass(frozen=True)
class Finding:
    """Something about a map.

    Attributes
    ----------
    text : str
        What was found, as a sentence.
    channels : tuple of str
        The channels that it is about.
    refuses : bool
        Whether the map must not be used like this.
    """

    text: str
    channels: tuple[str, ...]
    refuses: bool = True


def check_map(
    channel_map: ChannelMap, *, top_speed_rpm: float = TOP_SPEED_RPM
) -> tuple[Finding, ...]:
    """Check what a map says by itself, without asking its sources.

    Parameters
    ----------
    channel_map : ChannelMap
        The map; its schema already holds units to their roles.
    top_speed_rpm : float
        The head's fastest speed. [rpm]

    Returns
    -------
    tuple of Finding
        What is wrong with it; empty when nothing is.
    """
    return (
        *_overlaps(channel_map),
        *_wraps(channel_map, top_speed_rpm),
        *_places(channel_map),
        *_units(channel_map),
        *_instruments(channel_map),
    )


def _overlaps(channel_map: ChannelMap) -> Iterator[Finding]:
    """Two channels that share a register, wherever their streams stand in the map."""
    laid: dict[tuple[object, ...], list[Channel]] = {("the stand's samples",): []}
    laid["the stand's samples",] += channel_map.channels
    for stream in channel_map.streams:
        if stream.source in _MODBUS:
            unit = stream.unit_id or channel_map.unit_id
            laid.setdefault((stream.address, unit, stream.registers), []).extend(stream.channels)
    for channels in laid.values():
        for one, other in combinations(channels, 2):
            shared = sorted(_registers(one) & _registers(other))
            if shared:
                yield Finding(
                    f'"{one.name}" and "{other.name}" share register '
                    f"{' and '.join(str(n) for n in shared)}: one of them stands in the wrong "
                    "place, or is too wide",
                    (one.name, other.name),
                )


def _registers(channel: Channel) -> set[int]:
    return set(range(channel.first_register, channel.first_register + width(channel.type)))


def _wraps(channel_map: ChannelMap, top_speed_rpm: float) -> Iterator[Finding]:
    """Counters that roll over too fast for the rate at which they are read."""
    for channel in channel_map.all_channels:
        bits = _BITS.get(channel.type)
        if channel.pulses_per_rev is None or bits is None:
            continue
        wrap_s = 2**bits * 60 / (channel.pulses_per_rev * top_speed_rpm)
        period_s = 1 / channel.sample_rate_hz
        if period_s > wrap_s / 2:
            yield Finding(
                f'"{channel.name}" rolls over in {wrap_s:.3g} s at {top_speed_rpm:g} rpm, and is '
                f"read each {period_s:.3g} s: turns would go uncounted. Read it at least each "
                f"{wrap_s / 2:.3g} s, or count fewer pulses",
                (channel.name,),
            )


def _places(channel_map: ChannelMap) -> Iterator[Finding]:
    """Channels whose place in their source is not told, or told twice."""
    for stream in channel_map.streams:
        if stream.source is SourceKind.OPC_UA:
            for channel in stream.channels:
                if not channel.node:
                    text = f'"{channel.name}" names no node: give its node id'
                    yield Finding(text, (channel.name,))
        for one, other in combinations(stream.channels, 2):
            if one.node and one.node == other.node:
                yield Finding(
                    f'"{one.name}" and "{other.name}" are both {one.node} of {stream.name}',
                    (one.name, other.name),
                )


def _units(channel_map: ChannelMap) -> Iterator[Finding]:
    for channel in channel_map.all_channels:
        if channel.role is Role.OTHER and channel.unit not in UNITS and channel.unit != "us":
            yield Finding(
                f'"{channel.name}" is in "{channel.unit}", which is no unit that this program '
                "knows: its readings are kept, and nothing is judged by them",
                (channel.name,),
                refuses=False,
            )


def _instruments(channel_map: ChannelMap) -> Iterator[Finding]:
    for channel in channel_map.all_channels:
        if channel.instrument.name == NOT_NAMED:
            yield Finding(
                f'nobody has said yet which instrument measures "{channel.name}", and how surely',
                (channel.name,),
            )


PLAUSIBLE: dict[Role, tuple[float, float]] = {
    Role.SPEED: (0.0, 5000.0),
    Role.DISPLAY_SPEED: (0.0, 5000.0),
    Role.STEP: (0.0, 200.0),
    Role.DI_FLOW: (0.0, 100.0),
    Role.DI_PRESSURE: (-0.5, 12.0),
    Role.DRAIN_RESISTIVITY: (0.0, 30.0),
    Role.FEED_RESISTIVITY: (0.0, 30.0),
    Role.N2_FLOW: (0.0, 2000.0),
    Role.N2_TEMPERATURE: (-20.0, 250.0),
    Role.SEAL_PRESSURE: (-20.0, 500.0),
    Role.VIBRATION: (0.0, 100.0),
    Role.MOTOR_CURRENT: (-100.0, 100.0),
    Role.BOWL_TEMPERATURE: (-20.0, 250.0),
    Role.SEAL_TEMPERATURE: (-20.0, 250.0),
    Role.BEARING_TEMPERATURE: (-20.0, 250.0),
}
"""Where readings of a role lie on such a machine, in its unit; common practice, no source."""


def plausible_range(channel: Channel) -> tuple[float, float] | None:
    """Give where readings of a channel should lie, in its unit; None where nobody can tell.

    A range alone proves no byte order: a wrong one lands inside by chance now and then, so a
    person compares a reading with a known value.
    """
    return PLAUSIBLE.get(channel.role)


def is_plausible(channel: Channel, count: float) -> bool:
    """Tell whether a count lies where readings of its channel should lie."""
    limits = plausible_range(channel)
    if limits is not None and 0 < abs(count) < _TINY:
        return False  # bytes of another order make such numbers; instruments do not
    value = count * channel.scale + channel.offset
    return limits is None or (math.isfinite(value) and limits[0] <= value <= limits[1])


def stream_of(channel_map: ChannelMap, channel: Channel) -> StreamSpec | None:
    """Give the stream that a channel belongs to; None for the stand's own."""
    return next((s for s in channel_map.streams if channel in s.channels), None)
