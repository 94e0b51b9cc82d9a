"""The binding proof: move one head, see which channels move, refuse the other head's map."""

import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.files.canonical import digest_of
from spinproof.model.binding import BindingProof, ChannelResponse, Response, Stimulus
from spinproof.model.channel import ACCELERATIONS, Channel, CountType, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.stream import SourceKind
from spinproof.model.trace import Trace
from spinproof.record.sources.factory import source_of
from spinproof.record.stream_block import StreamBlock

Samples = Mapping[str, NDArray[np.float64]]
"""Counts of each channel, by its name; not a number where there is no reading."""

STILL_S = 0.5
"""How long a run stands still at its beginning, before the controller moves anything. [s]"""
_COUNTERS = {Role.TACH_COUNT, Role.OPTICAL_COUNT}
_EDGES = {Role.TACH_EDGE, Role.OPTICAL_EDGE}
_BY_HAND = _COUNTERS | _EDGES | {Role.SHAFT_PULSE}
_BY_RUN = _BY_HAND | {
    Role.SPEED,
    Role.DISPLAY_SPEED,
    Role.STEP,
    Role.STATUS,
    Role.MOTOR_CURRENT,
    Role.VIBRATION,
    *ACCELERATIONS,
}
EXPECTED = {Stimulus.TURNED: _BY_HAND, Stimulus.RUN: _BY_RUN}
"""Roles that a stimulus must move."""
_BITS = {CountType.U16: 16, CountType.I16: 16, CountType.U32: 32, CountType.I32: 32}
_FEWEST_PULSES = 2
_TIMES_NOISE = 4.0
_FEWEST_COUNTS = 8.0
_SHARE = 1e-3
_SPEEDS = {Role.SPEED, Role.DISPLAY_SPEED}
_SHOWS_ROTATION = _COUNTERS | _EDGES | _SPEEDS
_SLOWEST_RPM = 5.0


@dataclass(frozen=True)
class Neighbour:
    """The other head of the machine, watched at the same time."""

    channel_map: ChannelMap
    before: Samples
    during: Samples


def map_digest(channel_map: ChannelMap) -> str:
    """Give the SHA-256 by which a proof names its map."""
    return digest_of(channel_map.to_document())


def prove(
    channel_map: ChannelMap,
    before: Samples,
    during: Samples,
    *,
    stimulus: Stimulus,
    neighbour: Neighbour | None = None,
) -> BindingProof:
    """Say whether the channels of a map belong to the head that was moved.

    Parameters
    ----------
    channel_map : ChannelMap
        The map of the head that was moved.
    before : mapping
        Counts while nothing moved.
    during : mapping
        Counts while this head alone was moved.
    stimulus : Stimulus
        What was done.
    neighbour : Neighbour, optional
        The other head, watched at the same time: it must stand still.

    Returns
    -------
    BindingProof
        It holds when every channel that must move did so, and none had moved before.
    """
    responses = _responses(channel_map, before, during, stimulus)
    expected = [each for each in responses if each.is_expected]
    others: tuple[ChannelResponse, ...] = ()
    if neighbour is not None:
        others = _responses(neighbour.channel_map, neighbour.before, neighbour.during, stimulus)
    elsewhere = [each.channel for each in others if each.is_expected and _is_moving(each)]
    words = _against(channel_map.head, expected, elsewhere)
    return BindingProof(
        map_sha256=map_digest(channel_map),
        head=channel_map.head,
        stimulus=stimulus,
        channels=responses,
        holds=words is None,
        words=words or _in_favour(channel_map.head, responses),
    )


def samples_of_run(trace: Trace) -> tuple[Samples, Samples]:
    """Split a brief run into its still beginning and what followed."""
    before, during = {}, {}
    for name, signal in trace.signals.items():
        still = signal.time_s < STILL_S
        counts = _as_numbers(signal.channel, signal.counts)
        before[name], during[name] = counts[still], counts[~still]
    return before, during


def gather(
    channel_map: ChannelMap,
    *,
    seconds: float,
    keys: Path | None = None,
    until: threading.Event | None = None,
) -> Samples:
    """Listen to the live streams of a map for a while.

    Parameters
    ----------
    channel_map : ChannelMap
        The map; the stand's own channels are not listened to.
    seconds : float
        For how long at most. [s]
    keys : Path, optional
        Folder of our own certificate, for encrypted sessions.
    until : threading.Event, optional
        Ends it earlier.

    Returns
    -------
    mapping
        Counts of each channel.

    Raises
    ------
    StandError
        If one of them cannot be reached.
    """
    blocks: list[StreamBlock] = []
    started = []
    try:
        for stream in channel_map.streams:
            if stream.source is not SourceKind.FILE:
                source = source_of(stream, channel_map, keys=keys)
                source.start(blocks.append)
                started.append(source)
        (until or threading.Event()).wait(seconds)
    finally:
        for source in started:
            source.stop()
    gathered: dict[str, NDArray[np.float64]] = {}
    for stream in channel_map.streams:
        own = [block.counts for block in blocks if block.stream == stream.name]
        for column, channel in enumerate(stream.channels):
            counts = [each[:, column] for each in own]
            joined = np.concatenate(counts) if counts else np.empty(0)
            gathered[channel.name] = _as_numbers(channel, joined)
    return gathered


def _as_numbers(channel: Channel, counts: NDArray[np.generic]) -> NDArray[np.float64]:
    numbers = np.asarray(counts, dtype=np.float64)
    return np.where(numbers == channel.missing, np.nan, numbers) if channel.missing else numbers


def _responses(
    channel_map: ChannelMap, before: Samples, during: Samples, stimulus: Stimulus
) -> tuple[ChannelResponse, ...]:
    return tuple(
        _response(channel, before.get(channel.name), during.get(channel.name), stimulus)
        for channel in channel_map.all_channels
    )


def _response(
    channel: Channel,
    before: NDArray[np.float64] | None,
    during: NDArray[np.float64] | None,
    stimulus: Stimulus,
) -> ChannelResponse:
    still, moved = _finite(before), _finite(during)
    before_it = during_it = None
    did = Response.SILENT
    if still.size and moved.size:
        before_it, during_it, least = _changes(channel, still, moved)
        is_restless = channel.role in _SHOWS_ROTATION and before_it >= least
        did = Response.MOVED if during_it >= least else Response.STILL
        did = Response.RESTLESS if is_restless else did
    return ChannelResponse(
        channel=channel.name,
        role=channel.role,
        response=did,
        is_expected=channel.role in EXPECTED[stimulus],
        change_before=before_it,
        change_during=during_it,
    )


def _changes(
    channel: Channel, still: NDArray[np.float64], moved: NDArray[np.float64]
) -> tuple[float, float, float]:
    """Give the change before and meanwhile, and the least that counts as a movement. [counts]."""
    if channel.role in _COUNTERS:
        joined = np.append(still[-1], moved)
        return _counted(channel, still), _counted(channel, joined), _FEWEST_PULSES
    if channel.role in _EDGES:
        return float(np.ptp(still)), float(np.abs(moved - still[-1]).max()), 1.0
    if channel.role in _SPEEDS:
        at_rest = -channel.offset / channel.scale
        speeds = (float(np.abs(each - at_rest).max()) for each in (still, moved))
        return next(speeds), next(speeds), _SLOWEST_RPM / channel.scale
    noise, change = float(np.ptp(still)), float(np.abs(moved - np.median(still)).max())
    return noise, change, max(_TIMES_NOISE * noise, _resolution(channel, still))


def _finite(counts: NDArray[np.float64] | None) -> NDArray[np.float64]:
    return np.empty(0) if counts is None else counts[np.isfinite(counts)]


def _counted(channel: Channel, counts: NDArray[np.float64]) -> float:
    """Give how far a rolling counter went on; one that jumps back a little went nowhere."""
    span = 2.0 ** _BITS.get(channel.type, 32)
    steps = np.diff(counts) % span
    return float(np.minimum(steps, span - steps).sum())


def _resolution(channel: Channel, still: NDArray[np.float64]) -> float:
    """Give the least change that means something, in counts."""
    if channel.role in {Role.STEP, Role.STATUS}:
        return 1.0
    if channel.type in {CountType.F32, CountType.F64}:
        return max(_SHARE * float(np.abs(still).max()), _SHARE)
    return _FEWEST_COUNTS


def _is_moving(response: ChannelResponse) -> bool:
    return response.response in {Response.MOVED, Response.RESTLESS}


def _against(head: str, expected: list[ChannelResponse], elsewhere: list[str]) -> str | None:
    """Say why a map is refused; None when nothing speaks against it."""
    did: dict[Response, list[str]] = {response: [] for response in Response}
    for each in expected:
        did[each.response].append(each.channel)
    if not any(each.role in _SHOWS_ROTATION for each in expected):
        return f"No channel of the map could show that the rotor of {head} turns."
    if did[Response.RESTLESS]:
        restless = _list(did[Response.RESTLESS])
        return f"{restless} moved before {head} was touched: let all heads stand still and repeat."
    if not did[Response.MOVED]:
        return f"{head} moved, and no channel of its map did{_where_else(elsewhere)}"
    quiet = [*did[Response.STILL], *did[Response.SILENT]]
    if quiet:
        return (
            f"{head} moved, and {_list(did[Response.MOVED])} with it, but not {_list(quiet)}: what "
            "did not move is another head's, or dead."
        )
    if elsewhere:
        return f"{_list(elsewhere)} of the other head moved, too: let it stand still and repeat."
    return None


def _where_else(elsewhere: list[str]) -> str:
    if elsewhere:
        return (
            f", but {_list(elsewhere)} of the other head's map: the two maps, or their cables, "
            "are exchanged."
        )
    return ": the map is another head's, or its sensors are dead."


def _in_favour(head: str, responses: Iterable[ChannelResponse]) -> str:
    moved = [each.channel for each in responses if each.is_expected]
    rest = [each.channel for each in responses if not each.is_expected]
    told = f"{head} moved, and {_list(moved)} with it: these channels are this head's."
    return f"{told} It says nothing of {_list(rest)}."[:1000] if rest else told


def _list(names: list[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return " and ".join(filter(None, (", ".join(quoted[:-1]), quoted[-1])))
