"""Curves: thinned without losing a peak, broken where nothing was read."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from spinproof.figures.axes import Scale
from spinproof.figures.curve import curve, thinned
from spinproof.model.handover import Series

ACROSS, UP = Scale(0.0, 10.0, 0.0, 100.0), Scale(0.0, 10.0, 50.0, 0.0)


def drawn(values):
    time = tuple(float(i) for i in range(len(values)))
    return curve(Series("x", "rpm", time, tuple(values)), ACROSS, UP, stroke="#000", width=1)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=400), st.floats(0.1, 50))
def test_thinning_keeps_the_ends_and_the_extremes(values, column):
    time, readings = np.arange(len(values), dtype=float), np.array(values)
    t, v = thinned(time, readings, column)

    assert (t[0], t[-1]) == (time[0], time[-1])
    assert (v.min(), v.max()) == (readings.min(), readings.max())
    assert np.all(np.diff(t) > 0)
    assert np.array_equal(readings[t.astype(int)], v)


def test_a_missing_reading_breaks_the_curve_and_is_not_bridged():
    assert drawn([1.0, 2.0, None, 3.0, 4.0]).count("M") == 2


def test_a_curve_without_a_reading_draws_nothing():
    assert drawn([None, None]) == ""
    assert drawn([]) == ""


def test_a_single_reading_between_missing_ones_is_still_a_path():
    assert 'd="M10 45"' in drawn([None, 1.0, None])


def test_the_middle_of_a_level_stretch_is_left_out():
    assert 'd="M0 25L40 25L50 20"' in drawn([5.0, 5.0, 5.0, 5.0, 5.0, 6.0])
