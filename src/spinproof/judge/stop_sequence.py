"""The moments of the stop sequence as the trace shows them, each with its largest error."""

from dataclasses import dataclass

import numpy as np

from spinproof.judge.readings import Inputs, Readings, Speed
from spinproof.judge.segments import Stretch
from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Event
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING, Status
from spinproof.signals.crossings import change_times, crossing_times


@dataclass(frozen=True)
class Moment:
    """When something happened, and the largest error of that."""

    time_s: float
    error_s: float

    def is_before(self, other: "Moment") -> bool:
        """Whether this certainly came first."""
        return other.time_s - self.time_s > self.error_s + other.error_s


@dataclass(frozen=True)
class StopSequence:
    """The moments of the stop sequence; absent where the trace shows none."""

    stop: Moment | None
    slow: Moment | None
    """The rotor runs slower than the index enable speed."""
    slow_by: str | None
    """Which tach saw that."""
    positioner: Moment | None
    home: Moment | None
    vent: Moment | None
    """The seal is told to vent."""
    vented: Moment | None
    released: Moment | None
    opened: Moment | None
    lock: str
    """What became of the lock when it was not released, in words."""


def find_stop_sequence(
    readings: Readings, parts: tuple[Stretch, ...], head: HeadSpec
) -> StopSequence:
    """Find the moments of the stop sequence in a trace."""
    stop = _stop_command(parts)
    after = stop.time_s if stop else 0.0
    slow, slow_by = _slow(readings, head, after)
    inputs = readings.inputs
    return StopSequence(
        stop=stop,
        slow=slow,
        slow_by=slow_by,
        positioner=change_of(inputs, Status.POSITIONER_OUT, after, rising=True),
        home=change_of(inputs, Status.HOME_SENSOR, after, rising=True),
        vent=change_of(inputs, Status.SEAL_VALVE, after, rising=False),
        vented=_vented(readings, head, after),
        released=change_of(inputs, Status.DOOR_LOCKED, 0.0, rising=False),
        opened=change_of(inputs, Status.DOOR_CLOSED, 0.0, rising=False),
        lock=_lock(inputs),
    )


def events_of(
    sequence: StopSequence, parts: tuple[Stretch, ...], readings: Readings
) -> list[Event]:
    """Give all events of a run in the order of time."""
    steps = [p for p in parts if STEP_IDLE < p.number < STEP_STOPPING]
    named: list[tuple[str, Moment | None]] = [
        (
            "start" if i == 0 else f"step {part.number} entered",
            Moment(part.start_s, part.start_error_s),
        )
        for i, part in enumerate(steps)
    ]
    named += [
        ("stop command", sequence.stop),
        ("below index enable", sequence.slow),
        ("positioner out", sequence.positioner),
        ("index proven", sequence.home),
        ("vent command", sequence.vent),
        ("seal vented", sequence.vented),
        ("door released", sequence.released),
        ("door opened", sequence.opened),
        ("stop pressed", change_of(readings.inputs, Status.STOP_PRESSED, 0.0, rising=True)),
        ("fault", change_of(readings.inputs, Status.FAULT, 0.0, rising=True)),
    ]
    events = [
        Event(name=name, time_s=round(m.time_s, 4), uncertainty_s=round(m.error_s, 4))
        for name, m in named
        if m is not None
    ]
    return sorted(events, key=lambda event: event.time_s)


def change_of(inputs: Inputs | None, flag: Status, after: float, *, rising: bool) -> Moment | None:
    """Find the first change of an input after a moment."""
    if inputs is None:
        return None
    moments, errors = change_times(inputs.time_s, inputs.state(flag), rising=rising)
    later = np.flatnonzero(moments >= after)
    if later.size == 0:
        return None
    return Moment(float(moments[later[0]]), float(errors[later[0]]))


def _lock(inputs: Inputs | None) -> str:
    """Say what became of the door's lock until the end of the trace."""
    if inputs is None:
        return "no channel shows the lock"
    locked = inputs.state(Status.DOOR_LOCKED)
    if locked.size and locked[-1]:
        return "the door stayed locked"
    return "the door was released" if locked.any() else "the door was never locked"


def _slow(readings: Readings, head: HeadSpec, after: float) -> tuple[Moment | None, str | None]:
    """Find when the rotor became slow enough to index, by the finest tach that agrees."""
    found = [
        (moment, speed.name)
        for speed in (readings.reference, readings.own)
        if speed is not None
        and (moment := _passes(speed, head.index_enable_rpm, after)) is not None
    ]
    if not found:
        return None, None
    first = found[0][0]
    agreeing = [
        (m, name) for m, name in found if abs(m.time_s - first.time_s) <= m.error_s + first.error_s
    ]
    return min(agreeing, key=lambda pair: pair[0].error_s)


def _passes(speed: Speed, level: float, after: float) -> Moment | None:
    """Find when a tach falls below a level for the first time after a moment."""
    inside = speed.time_s >= after
    time, rpm = speed.time_s[inside], speed.rpm[inside]
    moments = crossing_times(time, rpm, level, rising=False)
    if moments.size:
        moment = float(moments[0])
        later = int(np.searchsorted(time, moment))
        return Moment(moment, float(time[later] - time[later - 1]) / 2)
    if time.size < 2 or speed.rotation is None:
        return None
    slope = (rpm[-1] - rpm[-2]) / (time[-1] - time[-2])
    spacing = float(time[-1] - time[-2])
    wait = (level - rpm[-1]) / slope if slope < 0 else np.inf
    return Moment(float(time[-1] + wait), spacing) if 0 <= wait <= 2 * spacing else None


def _stop_command(parts: tuple[Stretch, ...]) -> Moment | None:
    part = next((part for part in parts if part.number == STEP_STOPPING), None)
    return None if part is None else Moment(part.start_s, part.start_error_s)


def _vented(readings: Readings, head: HeadSpec, after: float) -> Moment | None:
    seal = readings.series(Role.SEAL_PRESSURE)
    if seal is None:
        return None
    moments = crossing_times(seal.time_s, seal.values, head.seal_release_kpa_g, rising=False)
    if moments.size == 0:
        return None
    later = moments[moments >= after]
    moment = float(later[0] if later.size else moments[-1])
    return Moment(moment, 1 / seal.channel.sample_rate_hz)
