"""Listen to the sources of a channel map for a while, and say what does not fit the map."""

import math
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.app.sources import Place, look
from spinproof.app.sources_check import Finding, is_plausible, plausible_range
from spinproof.model.channel import Channel
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import SpinproofError, StandError
from spinproof.model.quantity import UNITS
from spinproof.model.stream import SourceKind, StreamSpec, WordOrder
from spinproof.record.sources.factory import source_of
from spinproof.record.sources.look_modbus import look_at_registers
from spinproof.record.sources.offer import OfferKind
from spinproof.record.sources.registers import read_value, width
from spinproof.record.sources.source import NoticeKind
from spinproof.record.stream_block import StreamBlock

_MODBUS = {SourceKind.MODBUS_TCP, SourceKind.MODBUS_RTU_OVER_TCP}
RATE_OFF = 0.05
"""Share by which a measured rate may lie beside the stated one."""
MOST_MISSED = 0.1
"""Share of samples that may be missing while a map is tried."""
_FEWEST_SAMPLES = 10
_REFUSING = {
    NoticeKind.LOST,
    NoticeKind.UNREADABLE,
    NoticeKind.VANISHED,
    NoticeKind.GAP,
    NoticeKind.NONSENSE,
    NoticeKind.STOPPED,
}


def listen_to_map(
    channel_map: ChannelMap, *, seconds: float = 5.0, keys: Path | None = None
) -> tuple[Finding, ...]:
    """Listen to every live stream of a map, and compare what comes with what the map says.

    Parameters
    ----------
    channel_map : ChannelMap
        The map.
    seconds : float
        For how long; a stream that is slow needs more than ten of its samples. [s]
    keys : Path, optional
        Folder of our own certificate, for encrypted sessions.

    Returns
    -------
    tuple of Finding
        What does not fit; empty when all does.
    """
    findings: list[Finding] = []
    for stream in channel_map.streams:
        if stream.source is SourceKind.FILE:
            continue
        try:
            findings += _listen_to(stream, channel_map, seconds, keys)
        except SpinproofError as error:
            findings.append(Finding(str(error), tuple(c.name for c in stream.channels)))
    return tuple(findings)


def _listen_to(
    stream: StreamSpec, channel_map: ChannelMap, seconds: float, keys: Path | None
) -> list[Finding]:
    blocks: list[StreamBlock] = []
    source = source_of(stream, channel_map, keys=keys)
    source.start(blocks.append)
    threading.Event().wait(seconds)
    source.stop()
    findings = [
        Finding(
            f"{stream.name}{', ' + n.channel if n.channel else ''}: {n.text} ({n.times} times)",
            (n.channel,) if n.channel else (),
            refuses=n.kind in _REFUSING,
        )
        for n in source.notices
    ]
    findings += compare_rate(stream, blocks)
    findings += compare_values(stream, blocks)
    findings = [_with_order(stream, channel_map, each) for each in findings]
    if stream.source is SourceKind.OPC_UA:
        findings += _compare_units(stream, keys)
    return findings


def compare_rate(stream: StreamSpec, blocks: list[StreamBlock]) -> Iterator[Finding]:
    """Compare the rate of the samples, and how many of them came, with what the map says."""
    if not stream.is_regular:
        return
    names = tuple(channel.name for channel in stream.channels)
    if len(blocks) < 2 or blocks[-1].first_sample - blocks[0].first_sample < _FEWEST_SAMPLES:
        yield Finding(
            f"{stream.name}: too few samples came to tell its rate; listen for longer", names
        )
        return
    measured, came = measured_rate_hz(blocks), share_that_came(blocks)
    if abs(measured / stream.sample_rate_hz - 1) > RATE_OFF:
        yield Finding(
            f"{stream.name} delivers {measured:.4g} samples a second, and the map says "
            f"{stream.sample_rate_hz:g} Hz",
            names,
        )
    if came < 1 - MOST_MISSED:
        yield Finding(
            f"{stream.name}: only {100 * came:.0f} % of the samples came; a device that is polled "
            "faster than it answers wants a lower sample_rate_hz",
            names,
        )


def measured_rate_hz(blocks: list[StreamBlock]) -> float:
    """Give samples a second by the source's own numbers and clock. [Hz]."""
    begin, end = (
        b.arrival_ns if b.device_time_ns is None else b.device_time_ns
        for b in (blocks[0], blocks[-1])
    )
    samples = blocks[-1].first_sample - blocks[0].first_sample
    return 1e9 * samples / (end - begin) if end > begin else math.inf


def share_that_came(blocks: list[StreamBlock]) -> float:
    """Give which share of the numbered samples came, without those of the last block."""
    numbers = blocks[-1].first_sample - blocks[0].first_sample
    return min(1.0, sum(len(block.counts) for block in blocks[:-1]) / numbers)


def compare_values(stream: StreamSpec, blocks: list[StreamBlock]) -> Iterator[Finding]:
    """Say which channels lie where such a quantity cannot lie."""
    for column, channel in enumerate(stream.channels):
        counts = _counts(blocks, column)
        if counts.size == 0:
            yield Finding(f'"{channel.name}" gave no reading at all', (channel.name,))
            continue
        wrong = [count for count in counts if not is_plausible(channel, count)]
        if 2 * len(wrong) > counts.size:
            low, high = plausible_range(channel) or (-math.inf, math.inf)
            value = wrong[-1] * channel.scale + channel.offset
            yield Finding(
                f'"{channel.name}" reads {value:.4g} {channel.unit}, and a {channel.role} lies '
                f"between {low:g} and {high:g}",
                (channel.name,),
            )


def _counts(blocks: list[StreamBlock], column: int) -> NDArray[np.float64]:
    if not blocks:
        return np.empty(0)
    counts = np.concatenate([block.counts[:, column] for block in blocks]).astype(np.float64)
    return counts[np.isfinite(counts)]


def _with_order(stream: StreamSpec, channel_map: ChannelMap, finding: Finding) -> Finding:
    """Add in which order an implausible value of two registers would be plausible."""
    channel = next((c for c in stream.channels if (c.name,) == finding.channels), None)
    if channel is None or stream.source not in _MODBUS or width(channel.type) != 2:
        return finding
    likely = likely_orders(stream, channel_map, channel)
    if not likely or stream.word_order in likely:
        return finding
    told = ", ".join(f'word_order = "{order}" reads {value:.4g}' for order, value in likely.items())
    text = f"{finding.text}. Likely the order of words or bytes: {told}; compare with a known value"
    return Finding(text, finding.channels, finding.refuses)


def likely_orders(
    stream: StreamSpec, channel_map: ChannelMap, channel: Channel
) -> dict[WordOrder, float]:
    """Give the orders in which a channel of two registers reads plausibly, with the values."""
    try:
        offer = look_at_registers(
            stream.address,
            stream.source,
            unit_id=stream.unit_id or channel_map.unit_id,
            registers=stream.registers,
            first=channel.first_register,
            count=2,
        )
    except StandError:
        return {}  # it went away meanwhile; that is told already
    words = [int(item.value or 0) for item in offer.items]
    if len(words) != 2:
        return {}
    counts = {order: read_value(words, channel.type, order) for order in WordOrder}
    return {
        order: count * channel.scale + channel.offset
        for order, count in counts.items()
        if is_plausible(channel, count)
    }


def _compare_units(stream: StreamSpec, keys: Path | None) -> Iterator[Finding]:
    """Compare the units that the server states with those of the map."""
    offer = look(Place(OfferKind.OPC_UA, stream.address, pinned=stream.server_sha256, keys=keys))
    stated = {item.key: item.unit for item in offer.items if item.unit}
    spelled = {t: u for u in UNITS.values() for t in (u.symbol, *u.spellings) if t}
    for channel in stream.channels:
        theirs = stated.get(channel.node or "")
        if theirs is None or theirs == channel.unit:
            continue
        one, other = spelled.get(theirs), spelled.get(channel.unit)
        if one is not None and one is other:
            continue
        what = "another quantity" if one and other and one.dimension != other.dimension else ""
        yield Finding(
            f'"{channel.name}" is in "{theirs}" by its server and in "{channel.unit}" by the map'
            f"{': ' + what if what else ''}; set scale and offset, or correct the unit",
            (channel.name,),
            refuses=channel.scale == 1.0,
        )
