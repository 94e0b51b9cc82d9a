"""The stop sequence: slow, indexed, vented, released, opened; when each came, and in what order."""

from dataclasses import dataclass

import numpy as np

from spinproof.judge.readings import Inputs, Readings, Speed
from spinproof.judge.segments import Stretch
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Event, Metric, Verdict
from spinproof.model.load import Load
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING, Status
from spinproof.physics.rotor import coast_down_time
from spinproof.physics.wafer import wafer_inertia
from spinproof.signals.crossings import change_times, crossing_times
from spinproof.signals.tach import last_pulse, speed_upper_bound

RAD_PER_S_PER_RPM = np.pi / 30
ENABLE_ALLOWANCE = 0.05
"""Share of the enable speed that the controller's own reading of it may be off."""
LOST_FACTOR = 2.0
"""A tach whose last pulse came above so many times the enable speed was lost, not slow."""


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
        positioner=_change(inputs, Status.POSITIONER_OUT, after, rising=True),
        home=_change(inputs, Status.HOME_SENSOR, after, rising=True),
        vent=_change(inputs, Status.SEAL_VALVE, after, rising=False),
        vented=_vented(readings, head, after),
        released=_change(inputs, Status.DOOR_LOCKED, 0.0, rising=False),
        opened=_change(inputs, Status.DOOR_CLOSED, 0.0, rising=False),
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
        ("stop pressed", _change(readings.inputs, Status.STOP_PRESSED, 0.0, rising=True)),
        ("fault", _change(readings.inputs, Status.FAULT, 0.0, rising=True)),
    ]
    events = [
        Event(name=name, time_s=round(m.time_s, 4), uncertainty_s=round(m.error_s, 4))
        for name, m in named
        if m is not None
    ]
    return sorted(events, key=lambda event: event.time_s)


def door_metrics(
    sequence: StopSequence, readings: Readings, head: HeadSpec, load: Load
) -> list[Metric]:
    """Give the metrics of the stop sequence."""
    return [
        *_coast_metrics(sequence, readings, head, load),
        _tach_lost_below(readings),
        _index_time(sequence, readings, head),
        _vent_time(sequence, head),
        _release_pressure(sequence, readings),
        _release_speed(sequence, readings, head),
        _order(sequence, readings, head),
    ]


def breaches(
    sequence: StopSequence, readings: Readings, head: HeadSpec
) -> tuple[list[str], list[str]]:
    """Give what certainly came out of order, and what cannot be told apart."""
    fired = _fired_fast(sequence, readings, head)
    wrong = [*([fired] if fired else []), *_unguarded(sequence, readings)]
    unclear = []
    moved = ("the positioner moved out", sequence.positioner)
    indexed = ("the index was proven", sequence.home)
    told = ("the seal was told to vent", sequence.vent)
    vented = ("the seal was vented", sequence.vented)
    released = ("the door was released", sequence.released)
    opened = ("the door was opened", sequence.opened)
    for (first_name, first), (second_name, second), must_show in (
        (moved, indexed, True),
        (indexed, told, False),  # a controller may command the vent in the scan that proves it
        (indexed, vented, True),
        (indexed, released, True),
        (vented, released, True),
        (released, opened, True),
    ):
        if second is None:
            continue
        if first is None:
            wrong.append(f"{second_name}, but it was never seen that {first_name}")
        elif second.is_before(first):
            early = first.time_s - second.time_s
            wrong.append(f"{second_name} {early:.2f} s before {first_name}")
        elif must_show and not first.is_before(second):
            unclear.append(f"{second_name} at the same time as {first_name}")
    return wrong, unclear


def _coast_metrics(
    sequence: StopSequence, readings: Readings, head: HeadSpec, load: Load
) -> list[Metric]:
    name, speed = "coast_time_error", readings.reference
    if sequence.stop is None or sequence.slow is None or speed is None or not speed.turned:
        why = "the coast to the index enable speed was not seen"
        return [missing(each, why) for each in (name, "coast_time")]
    begin = speed.at(sequence.stop.time_s)
    if not begin >= LOST_FACTOR * head.index_enable_rpm:
        why = f"the stop came at {begin:.0f} rpm: too slow to measure a coast"
        return [missing(each, why) for each in (name, "coast_time")]
    lasted = sequence.slow.time_s - sequence.stop.time_s
    spread = float(np.hypot(sequence.slow.error_s, sequence.stop.error_s) / np.sqrt(3))
    coast = measured("coast_time", lasted, spread)
    drags = (head.coulomb_torque_n_m, head.viscous_drag_n_m_s, head.quadratic_drag_n_m_s2)
    if not any(drags):
        return [coast, missing(name, "the head spec states no drag to predict a coast from")]
    expected = float(
        coast_down_time(
            turning_inertia(head, load),
            *drags,
            begin * RAD_PER_S_PER_RPM,
            head.index_enable_rpm * RAD_PER_S_PER_RPM,
        )
    )
    note = f"{lasted:.1f} s from {begin:.0f} rpm, {expected:.1f} s expected"
    error = measured(name, 100 * (lasted / expected - 1), 100 * spread / expected, note=note)
    return [coast, error]


def turning_inertia(head: HeadSpec, load: Load) -> float:
    """Inertia of rotor, cassette and wafers about the rotor's axis, in kg m²."""
    mass, diameter = load.wafer_mass_g / 1000, head.wafer_diameter_mm / 1000
    offset = max(head.wafer_edge_radius_m - diameter / 2, 0.0)
    each = float(wafer_inertia(mass, diameter)) + mass * offset**2
    return head.inertia_kg_m2 + load.wafer_count * each


def _tach_lost_below(readings: Readings) -> Metric:
    own = readings.own
    if own is None or own.rotation is None:
        return missing("tach_lost_below", "no channel counts the head's own tach")
    if not own.turned:
        return missing("tach_lost_below", f'"{own.name}" saw no rotation')
    _, speed = last_pulse(own.rotation)
    carried = float(own.rpm[-1]) - speed
    spread = float(np.hypot(carried, own.uncertainty_rpm[-1]) / np.sqrt(3))
    note = f"the last pulse of the head's tach was seen at {speed:.0f} rpm"
    return measured("tach_lost_below", speed, spread, note=note)


def _index_time(sequence: StopSequence, readings: Readings, head: HeadSpec) -> Metric:
    if readings.inputs is None:
        return missing("index_time", "no channel shows the home sensor")
    if sequence.home is None:
        return _never_indexed(sequence, readings, head)
    begin = sequence.slow or sequence.positioner
    if begin is None:
        return missing("index_time", "it was not seen when the rotor became slow enough to index")
    lasted = sequence.home.time_s - begin.time_s
    spread = float(np.hypot(begin.error_s, sequence.home.error_s) / np.sqrt(12))
    return measured("index_time", lasted, spread)


def _never_indexed(sequence: StopSequence, readings: Readings, head: HeadSpec) -> Metric:
    why = ["the index was never proven"]
    lost = _tach_lost_below(readings).value
    if sequence.stop is not None and lost is not None and lost > head.index_enable_rpm:
        why.append(
            f"the last pulse of the head's tach was seen at {lost:.0f} rpm, "
            f"above the index enable speed of {head.index_enable_rpm:g} rpm"
        )
    why.append(sequence.lock)
    slow = sequence.slow or sequence.positioner
    late = slow is not None and readings.end_s - slow.time_s > head.index_timeout_s / 2
    verdict = Verdict.FAIL if late else Verdict.NOT_MEASURED
    return missing("index_time", "; ".join(why), verdict=verdict)


def _vent_time(sequence: StopSequence, head: HeadSpec) -> Metric:
    if sequence.vent is None:
        return missing("vent_time", "the seal was never told to vent")
    if sequence.vented is None or sequence.vented.time_s < sequence.vent.time_s:
        why = f"the seal was not seen to vent below {head.seal_release_kpa_g:g} kPa"
        return missing("vent_time", why)
    lasted = sequence.vented.time_s - sequence.vent.time_s
    spread = float(np.hypot(sequence.vent.error_s, sequence.vented.error_s) / np.sqrt(12))
    return measured("vent_time", lasted, spread)


def _release_pressure(sequence: StopSequence, readings: Readings) -> Metric:
    name, seal = "release_pressure", readings.series(Role.SEAL_PRESSURE)
    if seal is None:
        return missing(name, "no channel measures the seal's pressure")
    if sequence.released is None:
        return missing(name, f"no release was seen: {sequence.lock}")
    before = seal.values[seal.time_s < sequence.released.time_s]
    if before.size == 0:
        return missing(name, "the seal's pressure was not read before the release")
    pressure = float(before[-1])
    return measured(name, pressure, seal.uncertainty(pressure), note="last reading before it")


def _release_speed(sequence: StopSequence, readings: Readings, head: HeadSpec) -> Metric:
    name = "release_speed"
    if sequence.released is None:
        return missing(name, f"no release was seen: {sequence.lock}")
    bounds = [
        bound
        for speed in (readings.reference, readings.own)
        if speed is not None and (bound := _bound(speed, sequence.released, head)) is not None
    ]
    if not bounds:
        return missing(name, "no tach was readable until the rotor was slow")
    return measured(name, min(bounds), 0.0, note="upper bound from the time since the last pulse")


def _bound(speed: Speed, moment: Moment, head: HeadSpec) -> float | None:
    """Upper bound of the speed at a moment, unless the tach was lost while the rotor ran."""
    if not speed.turned:
        return None
    if speed.rotation is None:
        return speed.at(moment.time_s)
    before = speed.time_s < moment.time_s
    if not before.any() or speed.rpm[before][-1] > LOST_FACTOR * head.index_enable_rpm:
        return None
    last = float(speed.rpm[before][-1])
    return min(speed_upper_bound(speed.rotation, moment.time_s), last)


def _order(sequence: StopSequence, readings: Readings, head: HeadSpec) -> Metric:
    name = "door_order_breaches"
    if readings.inputs is None or readings.signal(Role.SEAL_PRESSURE) is None:
        return missing(name, "no channels show the door, the index and the seal")
    wrong, unclear = breaches(sequence, readings, head)
    if wrong:
        return measured(name, len(wrong), 0.0, note="; ".join(wrong))
    if unclear:
        note = f"the sampling cannot tell the order: {'; '.join(unclear)}"
        return measured(name, 0.0, 0.0, note=note, verdict=Verdict.UNDECIDED)
    if sequence.released is None:
        return measured(name, 0.0, 0.0, note=sequence.lock)
    return measured(name, 0.0, 0.0, note="slow, indexed, vented, released, in that order")


def _lock(inputs: Inputs | None) -> str:
    """Say what became of the door's lock until the end of the trace."""
    if inputs is None:
        return "no channel shows the lock"
    locked = inputs.state(Status.DOOR_LOCKED)
    if locked.size and locked[-1]:
        return "the door stayed locked"
    return "the door was released" if locked.any() else "the door was never locked"


def _unguarded(sequence: StopSequence, readings: Readings) -> list[str]:
    """Say whether the rotor was driven without a locked door, or again after the stop."""
    if readings.inputs is None:
        return []
    inputs, found = readings.inputs, []
    driven = inputs.state(Status.MOTOR_ENABLED)
    safe = inputs.state(Status.DOOR_LOCKED) & inputs.state(Status.DOOR_CLOSED)
    if (driven & ~safe).any():
        moment = float(inputs.time_s[np.argmax(driven & ~safe)])
        found.append(f"the motor was enabled at {moment:.1f} s without a closed and locked door")
    if sequence.stop is not None:
        again = _change(inputs, Status.MOTOR_ENABLED, sequence.stop.time_s, rising=True)
        if again is not None:
            found.append(f"the motor was enabled again at {again.time_s:.1f} s, after the stop")
    return found


def _fired_fast(sequence: StopSequence, readings: Readings, head: HeadSpec) -> str | None:
    """Say how fast the rotor was when the positioner moved out, if it was too fast."""
    if sequence.positioner is None or readings.reference is None:
        return None
    moment = sequence.positioner.time_s
    found = [
        _free_speed(speed, moment)
        for speed in (readings.reference, readings.own)
        if speed is not None
    ]
    speeds = [speed for speed in found if speed is not None]
    if speeds and min(speeds) > head.index_enable_rpm * (1 + ENABLE_ALLOWANCE):
        return (
            f"the positioner moved out at {min(speeds):.0f} rpm, "
            f"above the index enable speed of {head.index_enable_rpm:g} rpm"
        )
    return None


def _free_speed(speed: Speed, moment: float) -> float | None:
    """Speed at a moment, carried on from the last two readings before it."""
    before = speed.time_s < moment
    if np.count_nonzero(before) < 2:
        return None
    time, rpm = speed.time_s[before][-2:], speed.rpm[before][-2:]
    slope = min((rpm[1] - rpm[0]) / (time[1] - time[0]), 0.0)
    return max(float(rpm[1] + slope * (moment - time[1])), 0.0)


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


def _change(inputs: Inputs | None, flag: Status, after: float, *, rising: bool) -> Moment | None:
    if inputs is None:
        return None
    moments, errors = change_times(inputs.time_s, inputs.state(flag), rising=rising)
    later = np.flatnonzero(moments >= after)
    if later.size == 0:
        return None
    return Moment(float(moments[later[0]]), float(errors[later[0]]))
