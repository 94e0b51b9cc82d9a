"""What the judge reads out of a trace: speeds, digital inputs and process values by role."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Channel, CountType, Role
from spinproof.model.registers import Status
from spinproof.model.run import Incident, IncidentKind
from spinproof.model.trace import Signal, Trace
from spinproof.signals.tach import Rotation, rotation_from_edges, unwrap_counter
from spinproof.signals.tach_repair import TachRepair, repair_tach

WIDTHS = {CountType.U16: 16, CountType.I16: 16, CountType.U32: 32, CountType.I32: 32}


@dataclass(frozen=True, eq=False)
class Speed:
    """The rotor's speed as one instrument saw it."""

    name: str
    """Name of the channel."""
    time_s: NDArray[np.float64]
    rpm: NDArray[np.float64]
    uncertainty_rpm: NDArray[np.float64]
    """Standard uncertainty of each reading, without what all readings share."""
    relative: float
    """Standard uncertainty that all readings share, in proportion to them."""
    rotation: Rotation | None
    """The tach behind it, lost and doubled pulses put right, unless another instrument computed
    the speed."""
    counted: Rotation | None = None
    """The same as it was counted: what a tach itself is judged by."""
    repair: TachRepair | None = None
    """What was put right."""

    @property
    def turned(self) -> bool:
        """Whether the rotor turned at all, as seen by this instrument."""
        return bool(self.rpm.size) and bool(np.nanmax(self.rpm) > 0)

    def at(self, moment: float) -> float:
        """Give the speed at a moment by linear interpolation, in rpm.

        Before the first reading the rotor stood still; after the last its speed is not known.
        """
        return float(np.interp(moment, self.time_s, self.rpm, left=0.0, right=np.nan))

    def window(self, start: float, end: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give times and speeds between two moments, with both ends interpolated if known."""
        inside = (self.time_s > start) & (self.time_s < end)
        time = np.concatenate([[start], self.time_s[inside], [end]])
        rpm = np.concatenate([[self.at(start)], self.rpm[inside], [self.at(end)]])
        known = np.isfinite(rpm)
        return time[known], rpm[known]


@dataclass(frozen=True, eq=False)
class Series:
    """The readings of a channel, those without a value left out."""

    channel: Channel
    time_s: NDArray[np.float64]
    values: NDArray[np.float64]

    def between(self, start: float, end: float) -> NDArray[np.float64]:
        """Give the readings between two moments."""
        return self.values[(self.time_s >= start) & (self.time_s <= end)]

    def uncertainty(self, value: float) -> float:
        """Give the standard uncertainty of a reading: the instrument's and the resolution's."""
        instrument = self.channel.instrument
        proportional = instrument.relative_uncertainty * value
        resolution = self.channel.scale / np.sqrt(12)
        return float(np.sqrt(instrument.standard_uncertainty**2 + proportional**2 + resolution**2))


@dataclass(frozen=True, eq=False)
class Inputs:
    """The stand's digital inputs over time."""

    time_s: NDArray[np.float64]
    bits: NDArray[np.int64]

    def state(self, flag: Status) -> NDArray[np.bool_]:
        """Give one input over time."""
        return np.asarray((self.bits & int(flag)) != 0)


@dataclass(frozen=True, eq=False)
class Readings:
    """One trace, ready to be judged: nothing is computed twice."""

    trace: Trace

    @cached_property
    def period_s(self) -> float:
        """Usual time between samples, in seconds."""
        channels = self.trace.header.channel_map.channels
        return 1 / max(channel.sample_rate_hz for channel in channels)

    @cached_property
    def end_s(self) -> float:
        """Moment of the last sample, in seconds."""
        return self.trace.duration_s

    @cached_property
    def own(self) -> Speed | None:
        """Speed by the head's own tach."""
        return self._tach(Role.TACH_COUNT, Role.TACH_EDGE)

    @cached_property
    def optical(self) -> Speed | None:
        """Speed by the stand's optical tach."""
        return self._tach(Role.OPTICAL_COUNT, Role.OPTICAL_EDGE)

    @cached_property
    def reference(self) -> Speed | None:
        """The best evidence for speed; the display never is."""
        return self.optical or self.computed or self.own

    @cached_property
    def repairs(self) -> tuple[Incident, ...]:
        """What was put right in the tachs before anything was judged by them, in sentences."""
        return tuple(
            _incident_of(speed.name, speed.repair)
            for speed in (self.optical, self.own)
            if speed is not None and speed.repair is not None and speed.repair.count
        )

    @property
    def incidents(self) -> tuple[Incident, ...]:
        """What the recording noticed about itself, and what was put right since."""
        return (*self.trace.incidents, *self.repairs)

    @cached_property
    def inputs(self) -> Inputs | None:
        """The digital inputs."""
        signal = self.trace.role(Role.STATUS)
        if signal is None or signal.time_s.size == 0:
            return None
        return Inputs(*_whole_counts(signal))

    @cached_property
    def step(self) -> tuple[NDArray[np.float64], NDArray[np.int64]] | None:
        """Times and numbers of the controller's step."""
        signal = self.trace.role(Role.STEP)
        if signal is None or signal.time_s.size == 0:
            return None
        return _whole_counts(signal)

    def signal(self, role: Role) -> Signal | None:
        """Give a signal that holds at least one sample."""
        signal = self.trace.role(role)
        return signal if signal is not None and signal.time_s.size else None

    def series(self, role: Role) -> Series | None:
        """Give the readings of a role, those without a value left out."""
        signal = self.signal(role)
        if signal is None:
            return None
        values = signal.values
        known = np.isfinite(values)
        return Series(signal.channel, signal.time_s[known], values[known])

    def _tach(self, count_role: Role, edge_role: Role) -> Speed | None:
        count, edge = self.signal(count_role), self.signal(edge_role)
        if count is None:
            return None
        pulses = _continued(count)
        if edge is None:
            moments, jitter, relative = count.time_s, float(self.period_s / np.sqrt(12)), 0.0
        else:
            latest = np.searchsorted(edge.time_s, count.time_s, side="right") - 1
            unit_s = edge.channel.scale * 1e-6
            edges = _continued(edge).astype(np.float64) * unit_s
            moments = edges[np.maximum(latest, 0)]
            instrument = edge.channel.instrument
            own = instrument.standard_uncertainty * 1e-6
            jitter = float(np.hypot(own, unit_s / np.sqrt(12)))
            relative = instrument.relative_uncertainty
        per_rev = count.channel.pulses_per_rev or 1
        counted = rotation_from_edges(count.time_s, pulses, moments, per_rev, jitter)
        repair = repair_tach(counted) if edge is not None else None
        rotation = counted if repair is None else repair.rotation
        return Speed(
            name=count.channel.name,
            time_s=rotation.time_s,
            rpm=rotation.speed_rpm,
            uncertainty_rpm=rotation.uncertainty_rpm,
            relative=max(relative, count.channel.instrument.relative_uncertainty),
            rotation=rotation,
            counted=counted,
            repair=repair,
        )

    @cached_property
    def computed(self) -> Speed | None:
        """Speed that some other instrument computed."""
        found = self.series(Role.SPEED)
        if found is None or found.values.size == 0:
            return None
        instrument = found.channel.instrument
        return Speed(
            name=found.channel.name,
            time_s=found.time_s,
            rpm=found.values,
            uncertainty_rpm=np.full(found.values.size, found.uncertainty(0.0)),
            relative=instrument.relative_uncertainty,
            rotation=None,
        )


def _incident_of(name: str, repair: TachRepair) -> Incident:
    parts = [
        f"{count} {what}"
        for count, what in ((repair.missing, "lost"), (repair.extra, "counted too many"))
        if count
    ]
    said = f'pulses of "{name}" by their neighbours: {", ".join(parts)}'
    done = (
        "too many to be put right: its speeds stand as they were counted"
        if repair.is_hopeless
        else "put right for the speeds; the tach itself is judged as it counted"
    )
    return Incident(
        kind=IncidentKind.PULSES_REPAIRED,
        time_s=round(float(repair.moments_s[0]), 4),
        size=float(repair.count),
        channel=name,
        text=f"{said}; {done}",
    )


def _whole_counts(signal: Signal) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    values = signal.values
    known = np.isfinite(values)
    return signal.time_s[known], np.rint(values[known]).astype(np.int64)


def _continued(signal: Signal) -> NDArray[np.int64]:
    """Continue a counter beyond its roll-overs; a missing reading repeats the one before it."""
    known = np.flatnonzero(np.isfinite(signal.values))
    if known.size == 0:
        return np.zeros(signal.time_s.size, dtype=np.int64)
    latest = np.searchsorted(known, np.arange(signal.time_s.size), side="right") - 1
    counts = np.rint(signal.counts[known][np.maximum(latest, 0)]).astype(np.int64)
    width = WIDTHS.get(signal.channel.type)
    if width is None:
        return np.maximum.accumulate(counts)
    return unwrap_counter(counts & ((1 << width) - 1), width)
