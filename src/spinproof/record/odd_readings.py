"""Readings that a sensor may send and that cannot be right: frozen ones, and single spikes.

Both are told and nothing is changed. The rules are slow to speak: a quantity that rests may well
repeat one reading, and a quantity that a valve switches may well jump.
"""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Role
from spinproof.model.run import Incident, IncidentKind
from spinproof.model.trace import Signal

WATCHED = frozenset(
    {
        Role.DI_FLOW,
        Role.DI_PRESSURE,
        Role.DRAIN_RESISTIVITY,
        Role.FEED_RESISTIVITY,
        Role.N2_FLOW,
        Role.N2_TEMPERATURE,
        Role.SEAL_PRESSURE,
        Role.VIBRATION,
        Role.MOTOR_CURRENT,
    }
)
"""Quantities that a living sensor sees move."""
FROZEN_S = 60.0
"""How long a sensor must repeat one reading. [s]"""
ACROSS_S = 15.0
"""How far that must reach before and behind a step of the controller. [s]"""
SPIKE_NOISE = 40.0
"""How many times its own noise a single reading must stand out. [1]"""
SPIKE_SHARE = 0.1
"""Share of the channel's range in the run by which it must stand out. [1]"""


def find_odd_readings(signals: Mapping[str, Signal]) -> Iterator[Incident]:
    """Find sensors that froze, and single readings that stand out.

    Parameters
    ----------
    signals : mapping of str to Signal
        The channels of a run.

    Yields
    ------
    Incident
        At most one of each kind for a channel.
    """
    steps = _changes_of_step(signals)
    for signal in signals.values():
        if signal.channel.role in WATCHED and signal.counts.size > 2:
            yield from _frozen(signal, steps)
            yield from _spikes(signal)


def _changes_of_step(signals: Mapping[str, Signal]) -> NDArray[np.float64]:
    for signal in signals.values():
        if signal.channel.role is Role.STEP and signal.counts.size:
            changed = np.diff(signal.counts.astype(np.int64)) != 0
            return np.asarray(signal.time_s[1:][changed], dtype=np.float64)
    return np.empty(0)


def _frozen(signal: Signal, steps: NDArray[np.float64]) -> Iterator[Incident]:
    """Find the longest stretch of one reading, away from that of rest, across a step."""
    counts, time_s = signal.counts, signal.time_s
    starts = np.flatnonzero(np.r_[True, counts[1:] != counts[:-1]])
    ends = np.r_[starts[1:], counts.size] - 1
    lengths = time_s[ends] - time_s[starts]
    for place in np.flatnonzero(lengths >= FROZEN_S):
        begin_s, end_s = float(time_s[starts[place]]), float(time_s[ends[place]])
        across = (steps > begin_s + ACROSS_S) & (steps < end_s - ACROSS_S)
        value = counts[starts[place]]
        at_rest = value == counts[0] or value == signal.channel.missing
        if across.any() and not at_rest and np.isfinite(signal.values[starts[place]]):
            yield Incident(
                kind=IncidentKind.FROZEN,
                time_s=begin_s,
                size=round(end_s - begin_s, 3),
                channel=signal.channel.name,
                text=f"{signal.channel.name} repeated one reading for {end_s - begin_s:.0f} s",
            )
            return


def _spikes(signal: Signal) -> Iterator[Incident]:
    """Find single readings far from both neighbours, which agree with one another."""
    values = signal.values[np.isfinite(signal.values)]
    time_s = signal.time_s[np.isfinite(signal.values)]
    if values.size < 20:
        return
    before, here, behind = values[:-2], values[1:-1], values[2:]
    out = np.minimum(np.abs(here - before), np.abs(here - behind))
    same_side = np.sign(here - before) == np.sign(here - behind)
    noise = 1.4826 * float(np.median(np.abs(np.diff(values)))) + signal.channel.scale
    low, high = np.quantile(values, (0.001, 0.999))
    needed = max(SPIKE_NOISE * noise, SPIKE_SHARE * float(high - low))
    found = same_side & (out > needed) & (np.abs(before - behind) < out / 5)
    if found.any():
        first = int(np.argmax(found))
        count = int(np.count_nonzero(found))
        yield Incident(
            kind=IncidentKind.SPIKE,
            time_s=float(time_s[first + 1]),
            size=count,
            channel=signal.channel.name,
            text=f"single readings that stand out in {signal.channel.name}: {count}",
        )
