"""What the recording of streams notices about itself, in words."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Role
from spinproof.model.run import Incident, IncidentKind
from spinproof.model.stream import StreamSpec
from spinproof.model.trace import Signal
from spinproof.record.clocks import Axis, StreamPlace
from spinproof.record.journal import SourceNotice
from spinproof.record.streams import Arranged, StreamEntry

ANOTHER_RATE = 0.05
"""A stream whose rate differs more from the map's is told. [1]"""
APART = 0.05
"""Speeds of two sources that differ more do not agree. [1]"""
_APART_RPM = 30.0
_TURNING_RPM = 60.0
_STEADY = 0.02
_LEAST_S = 3
_SILENT_S = 1.0
_SPEEDS = (Role.SPEED, Role.DISPLAY_SPEED, Role.TACH_COUNT, Role.OPTICAL_COUNT)

Speeds = dict[int, float]
"""Mean speed by whole second of the trace. [rpm]"""


class StreamTeller:
    """Puts what was wrong with a stream into words, with times of the trace.

    Parameters
    ----------
    spec : StreamSpec
        The stream.
    place : StreamPlace or None
        Where its samples lie; None when none came.
    """

    def __init__(self, spec: StreamSpec, place: StreamPlace | None) -> None:
        self._spec = spec
        self._place = place

    def everything(self, blocks: Arranged, end_s: float) -> Iterator[Incident]:
        """Tell all that was wrong; the run ends at ``end_s``. [s]."""
        name, rate_hz = self._spec.name, self._spec.sample_rate_hz
        if self._place is None:
            samples = round(end_s * rate_hz)
            yield self._told(IncidentKind.GAP, 0.0, samples, f"no sample of {name} arrived")
            return
        for first, size in blocks.gaps:
            text = f"{size} samples ({size / rate_hz:.2f} s) of {name} are missing from here on"
            yield self._told(IncidentKind.GAP, self._at_number(blocks, first), size, text)
        for entry, size in blocks.repeats:
            text = f"block {entry.sequence} of {name} came again; {size} samples were left out"
            yield self._told(IncidentKind.DUPLICATE, self._at(entry), size, text)
        for entry in blocks.turned:
            text = f"block {entry.sequence} of {name} came late; it is in its place now"
            yield self._told(IncidentKind.OUT_OF_ORDER, self._at(entry), entry.samples, text)
        for entry in blocks.late:
            text = f"block {entry.sequence} of {name} came too late; it is kept aside"
            yield self._told(IncidentKind.LATE, self._at(entry), entry.samples, text)
        yield from self._clock(blocks)
        if self._spec.is_regular:
            yield from self._silences(blocks, end_s)

    def _clock(self, blocks: Arranged) -> Iterator[Incident]:
        name, place = self._spec.name, self._place
        if place is None:
            return
        how = (
            "samples are placed by their arrival" if place.is_timed else "samples keep their times"
        )
        by_arrival = {entry.arrival_ns: entry for entry, _ in blocks.kept}
        for arrival_ns, jump_s in place.jumps:
            text = f"the clock of {name} jumped by {jump_s:+.3f} s; its {how}"
            at_s = self._at(by_arrival[arrival_ns])
            yield self._told(IncidentKind.CLOCK_STEP, at_s, jump_s, text)
        drift = place.clock.drift_ppm / 1e6
        if not place.is_timed and abs(drift) > ANOTHER_RATE:
            came_hz = self._spec.sample_rate_hz * (1 + drift)
            text = (
                f"{name} comes at {came_hz:.4g} Hz by the recorder's clock, not at the "
                f"{self._spec.sample_rate_hz:.4g} Hz of the map"
            )
            yield self._told(IncidentKind.RATE, place.start_s, round(came_hz, 6), text)

    def _silences(self, blocks: Arranged, end_s: float) -> Iterator[Incident]:
        name, rate_hz = self._spec.name, self._spec.sample_rate_hz
        first, last = blocks.kept[0][0], blocks.kept[-1][0]
        longest_s = max(entry.samples for entry, _ in blocks.kept) / rate_hz
        allowed_s = max(_SILENT_S, 2 * longest_s)
        before_s = self._at_number(blocks, first.first_sample)
        after_s = end_s - self._at_number(blocks, last.end - 1)
        if before_s > allowed_s:
            text = f"{name} began only {before_s:.1f} s after the run"
            yield self._told(IncidentKind.GAP, 0.0, round(before_s * rate_hz), text)
        if after_s > allowed_s:
            text = f"{name} ended {after_s:.1f} s before the run"
            yield self._told(IncidentKind.GAP, end_s - after_s, round(after_s * rate_hz), text)

    def _at(self, entry: StreamEntry) -> float:
        if self._place is None:
            return 0.0
        if self._place.is_timed and entry.last_ns is not None:
            times = self._place.of_times(np.array([entry.last_ns]), entry.sequence)
        else:
            times = self._place.of_numbers(np.array([entry.first_sample]))
        return float(times[0])

    def _at_number(self, blocks: Arranged, number: int) -> float:
        if self._place is not None and self._place.is_timed:
            behind = [entry for entry, _ in blocks.kept if entry.end > number]
            return self._at(behind[0] if behind else blocks.kept[-1][0])
        return 0.0 if self._place is None else float(self._place.of_numbers(np.array([number]))[0])

    @staticmethod
    def _told(kind: IncidentKind, time_s: float, size: float, text: str) -> Incident:
        return Incident(kind=kind, time_s=round(max(time_s, 0.0), 6), size=size, text=text)


def notice_incidents(notices: Iterable[SourceNotice], axis: Axis) -> Iterator[Incident]:
    """Give what sources had to say as incidents at their times.

    Parameters
    ----------
    notices : iterable of SourceNotice
        What they had to say.
    axis : Axis
        The time of the trace.

    Yields
    ------
    Incident
        One for each.
    """
    for notice in notices:
        at_s = ((notice.first_ns - axis.zero_ns) / 1e9 - axis.line.offset) / axis.line.pace
        yield Incident(
            kind=IncidentKind.SOURCE,
            time_s=round(max(at_s, 0.0), 6),
            size=notice.times,
            channel=notice.channel,
            text=f"{notice.stream}: {notice.text}",
        )


def speed_disagreements(owned: Mapping[str, Mapping[str, Signal]]) -> Iterator[Incident]:
    """Find sources that do not agree on the speed while the rotor turns steadily.

    Parameters
    ----------
    owned : mapping of str to mapping of str to Signal
        The signals of each source, by its name.

    Yields
    ------
    Incident
        At most one for two channels of different sources.
    """
    speeds = [
        (source, name, _by_second(signal))
        for source, signals in owned.items()
        for name, signal in signals.items()
        if signal.channel.role in _SPEEDS and signal.time_s.size > 1
    ]
    for one, other in combinations(speeds, 2):
        if one[0] != other[0]:
            yield from _disagreement(one, other)


def _disagreement(
    one: tuple[str, str, Speeds], other: tuple[str, str, Speeds]
) -> Iterator[Incident]:
    (source, name, a), (source_b, name_b, b) = one, other
    steady = [s for s in sorted(a.keys() & b.keys()) if _is_steady(a, s) and _is_steady(b, s)]
    apart = [s for s in steady if abs(a[s] - b[s]) > max(APART * max(a[s], b[s]), _APART_RPM)]
    if len(apart) < _LEAST_S or len(apart) < 0.1 * len(steady):
        return
    worst = max(apart, key=lambda s: abs(a[s] - b[s]))
    yield Incident(
        kind=IncidentKind.DISAGREEMENT,
        time_s=float(apart[0]),
        size=round(abs(a[worst] - b[worst]), 3),
        text=(
            f'"{name}" of {source} and "{name_b}" of {source_b} do not agree on the speed: '
            f"{a[worst]:.0f} rpm against {b[worst]:.0f} rpm at {worst} s, apart in "
            f"{len(apart)} of {len(steady)} steady seconds"
        ),
    )


def _is_steady(speeds: Speeds, second: int) -> bool:
    now = speeds[second]
    near = [speeds.get(second - 1), speeds.get(second + 1)]
    return all(
        each is not None and abs(each - now) <= _STEADY * max(now, _TURNING_RPM) for each in near
    )


def _by_second(signal: Signal) -> Speeds:
    time_s, rpm = _speeds(signal)
    known = np.isfinite(rpm) & (time_s >= 0)
    seconds = np.floor(time_s[known]).astype(np.int64)
    counts = np.bincount(seconds)
    sums = np.bincount(seconds, weights=rpm[known])
    return {int(s): float(sums[s] / counts[s]) for s in np.flatnonzero(counts)}


def _speeds(signal: Signal) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if signal.channel.pulses_per_rev is None:
        return signal.time_s, signal.values
    pulses = np.diff(signal.counts)  # unsigned: the difference wraps as the counter does
    elapsed = np.diff(signal.time_s)
    rpm = 60 * pulses.astype(np.float64) / signal.channel.pulses_per_rev / elapsed
    return signal.time_s[:-1] + elapsed / 2, rpm
