"""Crossings of levels and changes of digital inputs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.signals.crossings import change_times, crossing_times


@given(level=st.floats(0.01, 0.99), slope=st.floats(0.1, 100))
def test_a_line_is_crossed_where_it_should_be(level, slope):
    time = np.arange(0, 2 / slope, 0.13 / slope)

    assert crossing_times(time, slope * time, level, rising=True) == pytest.approx([level / slope])


def test_each_direction_has_its_own_crossings():
    time = np.linspace(0, 4 * np.pi, 4001)
    wave = np.sin(time)

    assert crossing_times(time, wave, 0.5, rising=True) == pytest.approx(
        [np.pi / 6, 13 * np.pi / 6], abs=1e-5
    )
    assert crossing_times(time, wave, 0.5, rising=False) == pytest.approx(
        [5 * np.pi / 6, 17 * np.pi / 6], abs=1e-5
    )


def test_missing_readings_are_bridged():
    assert crossing_times([0, 1, 2], [0.0, np.nan, 4.0], 1.0, rising=True).tolist() == [0.5]


def test_a_change_across_a_gap_carries_the_gap_as_its_error():
    moments, errors = change_times([0.0, 0.05, 1.05], [True, True, False], rising=False)

    assert moments == pytest.approx([0.55])
    assert errors == pytest.approx([1.0])


def test_an_input_that_never_changes_gives_no_moment():
    assert change_times([0.0, 1.0], [True, True], rising=True)[0].size == 0
