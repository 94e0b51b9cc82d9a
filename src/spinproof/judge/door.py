"""The metrics of the stop: coast, index, vent and release, and the order of them all."""

import numpy as np

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.stop_order import breaches
from spinproof.judge.stop_sequence import Moment, StopSequence
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.load import Load
from spinproof.physics.rotor import coast_down_time
from spinproof.physics.wafer import wafer_inertia
from spinproof.signals.tach import last_pulse, speed_upper_bound

RAD_PER_S_PER_RPM = np.pi / 30
LOST_FACTOR = 2.0
"""A tach whose last pulse came above so many times the enable speed was lost, not slow."""
FALL_READINGS = 4
"""Readings of the seal's pressure on either side of a level that tell how fast it falls. [1]"""
HELD_S, FEWEST_HELD = 10.0, 8
"""Time before the vent in which the held pressure shows its noise [s]; readings it takes. [1]"""


def door_metrics(
    sequence: StopSequence, readings: Readings, head: HeadSpec, load: Load
) -> list[Metric]:
    """Give the metrics of the stop sequence."""
    return [
        *_coast_metrics(sequence, readings, head, load),
        _tach_lost_below(readings),
        _index_time(sequence, readings, head),
        _vent_time(sequence, readings, head),
        _release_pressure(sequence, readings),
        _release_speed(sequence, readings, head),
        _order(sequence, readings, head),
    ]


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
    return head.inertia_kg_m2 + len(load.filled_slots) * each


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
    # the speed lies within its error either way, a change of an input within half of its own
    spread = float(np.hypot(begin.error_s / np.sqrt(3), sequence.home.error_s / np.sqrt(12)))
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


def _vent_time(sequence: StopSequence, readings: Readings, head: HeadSpec) -> Metric:
    if sequence.vent is None:
        return missing("vent_time", "the seal was never told to vent")
    if sequence.vented is None or sequence.vented.time_s < sequence.vent.time_s:
        why = f"the seal was not seen to vent below {head.seal_release_kpa_g:g} kPa"
        return missing("vent_time", why)
    lasted = sequence.vented.time_s - sequence.vent.time_s
    sampling = np.hypot(sequence.vent.error_s, sequence.vented.error_s) / np.sqrt(12)
    by_reading = _by_reading(readings, sequence.vent, sequence.vented, head.seal_release_kpa_g)
    return measured("vent_time", lasted, float(np.hypot(sampling, by_reading)))


def _by_reading(readings: Readings, vent: Moment, vented: Moment, level: float) -> float:
    """Give what a pressure's uncertainty makes of the moment at which it crosses a level, in s."""
    seal = readings.series(Role.SEAL_PRESSURE)
    if seal is None:
        return 0.0
    after = int(np.searchsorted(seal.time_s, vented.time_s))
    around = slice(max(after - FALL_READINGS, 0), after + FALL_READINGS)
    time, fall = seal.time_s[around], seal.values[around]
    held = (seal.time_s > vent.time_s - HELD_S) & (seal.time_s < vent.time_s - vent.error_s)
    if time.size < 2 * FALL_READINGS or fall[0] <= fall[-1] or np.count_nonzero(held) < FEWEST_HELD:
        return 0.0
    line = np.polynomial.Polynomial.fit(seal.time_s[held], seal.values[held], 1)
    noise = float(np.std(seal.values[held] - line(seal.time_s[held]), ddof=2))
    pace = float((fall[0] - fall[-1]) / (time[-1] - time[0]))
    return float(np.hypot(seal.uncertainty(level), noise)) / pace


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
    lowest, spread = min(bounds)
    note = "upper bound from the time since the last pulse"
    return measured(name, lowest, spread, note=note)


def _bound(speed: Speed, moment: Moment, head: HeadSpec) -> tuple[float, float] | None:
    """Upper bound of the speed at a moment, with its uncertainty, unless the tach was lost."""
    if not speed.turned:
        return None
    if speed.rotation is None:
        return speed.at(moment.time_s), float(speed.uncertainty_rpm[-1])
    before = speed.time_s < moment.time_s
    if not before.any() or speed.rpm[before][-1] > LOST_FACTOR * head.index_enable_rpm:
        return None
    last = float(speed.rpm[before][-1])
    bound = min(speed_upper_bound(speed.rotation, moment.time_s), last)
    waited = 60 / (speed.rotation.pulses_per_rev * bound)
    return bound, bound * moment.error_s / np.sqrt(12) / waited


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
