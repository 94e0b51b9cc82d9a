"""Step response: ramps, overshoot, settling and time in a band."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.signals.steps import (
    first_entry,
    overshoot,
    ramp_rate,
    settling_moment,
    time_in_band,
    transition_duration,
)

TIME = np.linspace(0, 60, 1201)


@given(
    initial=st.floats(0, 600), final=st.floats(700, 2000), rate=st.floats(40, 80), up=st.booleans()
)
def test_a_ramp_is_measured_as_it_was_programmed_up_and_down(initial, final, rate, up):
    start, end = (initial, final) if up else (final, initial)
    value = (
        np.clip(initial + rate * TIME, None, final)
        if up
        else np.clip(final - rate * TIME, initial, None)
    )
    slope, uncertainty = ramp_rate(TIME, value, start, end)

    assert slope == pytest.approx(rate if up else -rate, rel=1e-6)
    assert uncertainty < 1e-3
    assert transition_duration(TIME, value, start, end) == pytest.approx(
        0.8 * (final - initial) / rate, rel=1e-3
    )


def test_a_transition_that_does_not_happen_has_no_rate():
    flat = np.full(TIME.size, 300.0)

    assert np.isnan(ramp_rate(TIME, flat, 300.0, 900.0)).all()
    assert np.isnan(ramp_rate(TIME, flat, 300.0, 300.0)).all()
    assert np.isnan(transition_duration(TIME, flat, 300.0, 900.0))


def test_scatter_about_the_ramp_gives_its_uncertainty():
    noise = np.random.default_rng(5).normal(0, 5.0, TIME.size)
    slope, uncertainty = ramp_rate(TIME, 10 * TIME + noise, 0, 600)

    assert abs(slope - 10) < 4 * uncertainty
    assert 0.005 < uncertainty < 0.03


def test_an_undershoot_after_a_ramp_down_counts_as_overshoot():
    assert overshoot([100.0, 48.0, 50.0], 100.0, 50.0) == 2.0
    assert overshoot([100.0, 55.0, 50.0], 100.0, 50.0) == 0.0
    assert np.isnan(overshoot([np.nan], 0.0, 1.0))


@given(
    cut=st.floats(1, 59),
    values=st.lists(st.floats(-100, 100), min_size=3, max_size=20),
    low=st.floats(-50, 0),
    width=st.floats(1, 60),
)
def test_time_in_a_band_adds_up_over_parts_and_never_exceeds_the_whole(cut, values, low, width):
    time = np.linspace(0, 60, len(values))
    split_time = np.sort(np.append(time, cut))
    split = np.interp(split_time, time, values)
    at = int(np.searchsorted(split_time, cut))
    whole = time_in_band(time, values, low, low + width)
    parts = time_in_band(split_time[: at + 1], split[: at + 1], low, low + width) + time_in_band(
        split_time[at:], split[at:], low, low + width
    )

    assert 0 <= whole <= 60 + 1e-9
    assert parts == pytest.approx(whole, abs=1e-6)


def test_entry_and_settling_are_told_apart():
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    value = np.array([0.0, 10.0, 14.0, 10.0, 10.0])

    assert first_entry(time, value, 10.0, 2.0) == pytest.approx(0.8)
    assert settling_moment(time, value, 10.0, 2.0) == pytest.approx(2.5)


def test_a_signal_that_ends_outside_has_not_settled_and_one_that_never_leaves_has_from_the_start():
    time = np.array([5.0, 6.0, 7.0])

    assert np.isnan(settling_moment(time, [10.0, 10.0, 20.0], 10.0, 1.0))
    assert np.isnan(first_entry(time, [30.0, 30.0, 20.0], 10.0, 1.0))
    assert settling_moment(time, [10.0, 10.5, 9.8], 10.0, 1.0) == 5.0
    assert first_entry(time, [10.0, 10.5, 9.8], 10.0, 1.0) == 5.0
