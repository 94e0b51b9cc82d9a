"""Tach repair: lost and doubled pulses, what must never be filled up, and pulses per revolution."""

import numpy as np
import pytest

from spinproof.signals.tach import Rotation, rotation_from_edges
from spinproof.signals.tach_repair import (
    once_per_turn_line,
    proven_pulses_per_rev,
    repair_tach,
)


def rotation(moments, pulses=None, per_rev=1):
    moments = np.asarray(moments, dtype=float)
    count = np.arange(moments.size) if pulses is None else np.asarray(pulses)
    return Rotation(moments, count, np.ones(moments.size - 1, dtype=bool), per_rev, 0.0)


def ramp(per_rev=1):
    """From 100 rpm by 50 rpm/s over 20 s: moments at which the angle passes each pulse."""
    time = np.linspace(0, 20, 200_001)
    turns = (100 * time + 25 * time**2) / 60
    return np.interp(np.arange(1, int(turns[-1] * per_rev)) / per_rev, turns, time)


@pytest.mark.parametrize("per_rev", [1, 6])
def test_lost_pulses_on_a_ramp_are_counted_again(per_rev):
    true = ramp(per_rev)
    kept = np.sort(np.random.default_rng(1).permutation(true.size)[: int(0.98 * true.size)])
    kept = np.union1d(kept, [0, 1, 2, true.size - 3, true.size - 2, true.size - 1])
    found = repair_tach(rotation(true[kept], per_rev=per_rev))

    assert found.missing == true.size - kept.size
    assert (found.rotation.pulses == kept).all()


@pytest.mark.parametrize("share", [0.05, 0.3, 0.45])
def test_a_doubled_pulse_is_merged_wherever_it_falls(share):
    true = ramp()
    doubled = np.sort(np.append(true, true[60] + share * (true[61] - true[60]) - 1e-6))
    found = repair_tach(rotation(doubled))

    assert (found.extra, found.missing) == (1, 0)
    assert found.rotation.edge_s == pytest.approx(true, abs=1e-12)
    assert (found.rotation.pulses == np.arange(true.size)).all()


def test_a_doubled_pulse_inside_a_counted_sample_is_taken_off_the_count():
    samples = np.arange(0, 20, 0.05)
    moments = ramp(6)
    count = np.searchsorted(moments, samples, side="right")
    edge = np.where(count > 0, moments[np.maximum(count - 1, 0)], 0.0)
    found = repair_tach(rotation_from_edges(samples, count + (samples > 12), edge, 6, 0.0))

    assert (found.extra, found.missing) == (1, 0)
    assert found.moments_s == pytest.approx([12.05], abs=0.06)


def test_a_clean_tach_stays_as_it_is():
    seen = rotation(ramp())
    found = repair_tach(seen)

    assert found.count == 0
    assert (found.rotation.pulses == seen.pulses).all()


def test_a_rotor_that_is_stopped_is_never_filled_up():
    moments = np.concatenate([np.arange(0, 10, 0.1), [10.6, 12.0, 16.0]])

    assert repair_tach(rotation(moments)).count == 0


def test_a_step_of_the_speed_is_no_lost_pulse():
    moments = np.cumsum([0.1] * 30 + [0.2] * 30)

    assert repair_tach(rotation(moments)).count == 0


def test_a_tach_that_goes_blind_for_a_second_is_left_alone():
    moments = np.arange(0, 20, 0.05)
    found = repair_tach(rotation(moments[(moments < 9) | (moments > 10)]))

    assert found.count == 0


def test_a_tach_that_loses_one_pulse_in_five_is_not_repaired():
    true = np.arange(0, 50, 0.1)
    seen = rotation(true[np.random.default_rng(2).random(true.size) > 0.2])
    found = repair_tach(seen)

    assert found.is_hopeless
    assert found.rotation is seen


def test_a_clock_that_jumps_inside_is_not_a_lost_pulse():
    true = np.arange(0, 10, 0.1)
    seen = rotation(np.where(true > 5, true + 0.4, true))
    sound = seen.sound.copy()
    sound[np.argmax(np.diff(seen.edge_s))] = False
    found = repair_tach(
        Rotation(seen.edge_s, seen.pulses, sound, 1, 0.0),
    )

    assert found.count == 0


def test_pulses_per_revolution_are_proven_at_two_speeds_or_not_at_all():
    turns = np.array([5.0, 29.2, 15.0])

    assert proven_pulses_per_rev(6.01 * turns, turns) == 6
    assert proven_pulses_per_rev(6.5 * turns, turns) is None
    assert proven_pulses_per_rev([6 * 5.0, 60.0], [5.0, 29.2]) is None
    assert proven_pulses_per_rev([30.0], [5.0]) is None


def vibration(turns_per_s, amplitudes, rate=1024, seconds=8):
    time = np.arange(0, seconds, 1 / rate)
    noise = np.random.default_rng(3).normal(0, 0.05, time.size)
    tones = [
        a * np.cos(2 * np.pi * (i + 1) * turns_per_s * time + i) for i, a in enumerate(amplitudes)
    ]
    return np.sum(tones, axis=0) + noise + 0.7 * np.cos(2 * np.pi * 100 * time)


def test_the_line_of_the_rotor_proves_a_wrong_number_of_pulses():
    """The map says 6; the pulses of a 4-tooth wheel come at four times the 1x line."""
    speeds = np.array([10.3, 20.7, 29.17])
    lines = [once_per_turn_line(vibration(f, (1.0, 0.6)), 1024, 2, 60) for f in speeds]

    assert lines == pytest.approx(speeds, abs=0.01)
    assert proven_pulses_per_rev(4 * speeds, lines) == 4


def test_a_stronger_second_harmonic_is_not_taken_for_the_rotor():
    found = once_per_turn_line(vibration(20.7, (0.4, 2.0)), 1024, 2, 60)

    assert found == pytest.approx(20.7, abs=0.01)


def test_noise_has_no_line():
    assert np.isnan(once_per_turn_line(np.random.default_rng(4).normal(size=4096), 1024, 2, 60))
    assert np.isnan(once_per_turn_line(np.zeros(16) + np.arange(16), 1024, 2, 60))
