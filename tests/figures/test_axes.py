"""Axes: ticks are round and enclose what they measure."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.figures.axes import Scale, round_ticks, second_ticks, tick_text

sizes = st.floats(-1e6, 1e6, allow_nan=False)


@given(low=sizes, span=st.floats(1e-6, 1e6), at_most=st.integers(1, 8))
def test_ticks_enclose_the_interval_and_are_few(low, span, at_most):
    high = low + span
    ticks = round_ticks(low, high, at_most)

    assert ticks[0] <= low + 1e-6 * span
    assert ticks[-1] >= high - 1e-6 * span
    assert 2 <= len(ticks) <= max(at_most, 2) + 1


@given(low=st.integers(-9999, 9999), span=st.integers(1, 9999), at_most=st.integers(2, 8))
def test_steps_between_ticks_have_a_round_first_digit(low, span, at_most):
    ticks = round_ticks(float(low), float(low + span), at_most)
    step = ticks[1] - ticks[0]
    first = step / 10.0 ** math.floor(math.log10(step) + 1e-9)

    assert any(first == pytest.approx(digit) for digit in (1.0, 2.0, 2.5, 5.0))


@pytest.mark.parametrize("value", [0.0, 5.0, -3.0])
def test_a_level_curve_still_gets_an_axis(value):
    ticks = round_ticks(value, value)

    assert ticks[0] < value < ticks[-1]


@given(st.floats(0.5, 20_000))
def test_time_ticks_start_at_zero_and_stay_inside(end):
    ticks = second_ticks(end)

    assert ticks[0] == 0.0
    assert ticks[-1] <= end + 1e-6
    assert len(ticks) <= 11


def test_ticks_of_a_long_run_are_whole_minutes():
    assert second_ticks(446.0) == (0, 60, 120, 180, 240, 300, 360, 420)


def test_a_scale_maps_its_ends_onto_the_drawing():
    up = Scale(0.0, 2000.0, 100.0, 20.0)

    assert (up(0.0), up(2000.0), up(500.0)) == (100.0, 20.0, 80.0)


def test_a_negative_tick_has_a_minus_sign_and_no_hyphen():
    assert tick_text(-0.5) == "−0.5"
