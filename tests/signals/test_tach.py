"""Tach pulses to speed: roll-over, reciprocal counting, bounds, and clocks that jump."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.tach import (
    last_pulse,
    mean_speed,
    rotation_from_edges,
    speed_upper_bound,
    unwrap_counter,
)


def sampled(angle_rev, time, pulses_per_rev, edge_uncertainty=0.0):
    """Sample pulses that come at each 1/P of a revolution of an increasing angle."""
    samples = np.arange(0, time[-1], 0.05)
    pulses = np.arange(1, int(angle_rev[-1] * pulses_per_rev) + 1)
    moments = np.interp(pulses / pulses_per_rev, angle_rev, time)
    count = np.searchsorted(moments, samples, side="right")
    edge = np.where(count > 0, moments[np.maximum(count - 1, 0)], 0.0)
    return rotation_from_edges(samples, count, edge, pulses_per_rev, edge_uncertainty), count, edge


def steady(rpm, seconds, pulses_per_rev=1):
    time = np.linspace(0, seconds, 20_001)
    return sampled(rpm / 60 * time, time, pulses_per_rev)[0]


@given(
    steps=st.lists(st.integers(0, 32_000), min_size=1, max_size=50),
    start=st.integers(0, 65_535),
    bits=st.sampled_from([16, 32]),
)
def test_a_rolling_counter_is_continued_exactly(steps, start, bits):
    true = start + np.concatenate([[0], np.cumsum(steps)])

    assert unwrap_counter(true % (1 << bits), bits).tolist() == true.tolist()


def test_a_reading_that_does_not_fit_the_counter_is_refused():
    with pytest.raises(OutOfRangeError, match="1 of 3 readings") as caught:
        unwrap_counter([1, 70_000, 3], 16)

    assert caught.value.mask.tolist() == [False, True, False]


def test_a_counter_that_starts_anew_goes_on_from_there():
    assert unwrap_counter([500, 600, 3, 10], 16).tolist() == [500, 600, 600, 607]


def test_no_readings_stay_no_readings():
    assert unwrap_counter([], 16).size == 0


@given(rpm=st.floats(60, 2000), pulses_per_rev=st.sampled_from([1, 6]))
def test_a_steady_speed_is_found_exactly_at_any_number_of_pulses(rpm, pulses_per_rev):
    seen = steady(rpm, 10, pulses_per_rev)

    assert seen.speed_rpm == pytest.approx(rpm, rel=1e-9)
    assert mean_speed(seen, 2, 8)[0] == pytest.approx(rpm, rel=1e-9)


def test_on_a_steady_ramp_the_speed_stands_at_the_middle_of_its_interval():
    """50 rpm/s from rest: the angle is 25/60 t² revolutions."""
    time = np.linspace(0, 20, 200_001)
    seen, *_ = sampled(25 / 60 * time**2, time, 6)

    assert seen.speed_rpm[50:] == pytest.approx(50 * seen.time_s[50:], abs=0.5)


def test_the_timing_of_edges_gives_the_uncertainty_of_a_speed():
    """At 600 rpm and one pulse a revolution, 0.1 s apart: 600 · √2 · 10 µs / 0.1 s."""
    time = np.linspace(0, 10, 20_001)
    seen, *_ = sampled(10 * time, time, 1, edge_uncertainty=10e-6)

    assert seen.uncertainty_rpm == pytest.approx(0.0849, abs=0.0001)


def test_edges_keep_their_moments_on_the_time_axis_of_the_samples():
    """The device's clock started elsewhere; the shortest delay is taken as none."""
    samples = np.arange(0, 10, 0.05)
    moments = np.arange(1, 500) * 0.0201
    count = np.searchsorted(moments, samples, side="right")
    edge = np.where(count > 0, moments[np.maximum(count - 1, 0)], 0) + 1234.5
    seen = rotation_from_edges(samples, count, edge, 1, 0.0)

    assert seen.edge_s == pytest.approx(
        moments[count[np.flatnonzero(np.diff(count)) + 1] - 1], abs=1e-3
    )


@pytest.mark.parametrize("jump", [-40.0, 7.0])
def test_a_clock_that_jumps_spoils_one_interval_and_no_speed(jump):
    time = np.linspace(0, 20, 20_001)
    seen, count, edge = sampled(10 * time, time, 1)
    samples = np.arange(0, time[-1], 0.05)
    jumped = rotation_from_edges(samples, count, np.where(samples > 9, edge + jump, edge), 1, 0.0)

    assert np.count_nonzero(~jumped.sound) == 1
    assert jumped.speed_rpm == pytest.approx(600)
    assert jumped.edge_s == pytest.approx(seen.edge_s, abs=0.051)


def test_missing_samples_leave_the_mean_speed_right():
    time = np.linspace(0, 20, 20_001)
    _, count, edge = sampled(20 * time, time, 1)
    samples = np.arange(0, time[-1], 0.05)
    kept = (samples < 5) | (samples > 9)
    seen = rotation_from_edges(samples[kept], count[kept], edge[kept], 1, 0.0)

    assert mean_speed(seen, 0, 20)[0] == pytest.approx(1200)


def test_the_upper_bound_falls_with_the_waiting_time():
    """One pulse a revolution: 0.8 s without one bound the speed to 75 rpm, 6 s to 10 rpm."""
    seen = steady(600, 10)
    last = seen.edge_s[-1]

    assert speed_upper_bound(seen, last + 0.8) == pytest.approx(75)
    assert speed_upper_bound(seen, last + 6) == pytest.approx(10)
    assert speed_upper_bound(seen, 0.0) == float("inf")


def test_the_last_pulse_of_a_tach_that_goes_blind_names_its_speed():
    """Braked from 600 rpm by 20 rpm/s; no pulse is seen below 83 rpm."""
    time = np.linspace(0, (600 - 83) / 20, 100_001)
    seen, *_ = sampled((600 * time - 10 * time**2) / 60, time, 6)
    moment, speed = last_pulse(seen)

    assert moment == pytest.approx(time[-1], abs=0.15)
    assert speed == pytest.approx(83, abs=2.5)


def test_a_tach_that_never_turned_has_no_speed():
    still = rotation_from_edges(np.arange(10.0), np.zeros(10, int), np.zeros(10), 6, 0.0)

    assert not still.turned
    assert np.isnan(last_pulse(still)).all()
    assert np.isnan(mean_speed(still, 0, 10)).all()
