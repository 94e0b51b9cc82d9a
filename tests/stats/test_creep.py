"""A creep whose beginning is not known: its slope, its limit, and how often the truth is held."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.creep import creep_of


def creep(n, first, pace, rng, phi=0.0):
    noise = rng.standard_normal(n)
    for i in range(1, n):
        noise[i] = phi * noise[i - 1] + np.sqrt(1 - phi**2) * noise[i]
    return noise + pace * np.maximum(0, np.arange(n) + 1 - first)


def test_without_scatter_the_line_comes_back_exactly():
    found = creep_of(10 + 0.5 * np.maximum(0, np.arange(30) - 9))

    assert found.slope_at(0.5) == pytest.approx(0.5, abs=1e-3)
    assert found.steps_to(30.0, 0.5) == pytest.approx(20, abs=0.1)
    assert found.weight.sum() == pytest.approx(1)


def test_a_level_that_lies_behind_is_reached_and_one_on_the_other_side_never():
    found = creep_of(creep(40, 11, 0.5, np.random.default_rng(1)))

    assert found.steps_to(float(found.weight @ found.now) + 1e-9, 0.5) == pytest.approx(0, abs=0.01)
    assert found.steps_to(-50.0, 0.5) is None


def test_a_falling_series_is_the_mirror_of_a_rising_one():
    values = creep(40, 11, 0.3, np.random.default_rng(2))
    up, down = creep_of(values), creep_of(-values)

    assert down.slope_at(0.025) == pytest.approx(-up.slope_at(0.975), abs=1e-9)
    assert down.steps_to(-30.0, 0.5) == pytest.approx(up.steps_to(30.0, 0.5), rel=1e-6)


def test_a_single_bad_run_hardly_pulls_the_slope():
    values = creep(40, 11, 0.3, np.random.default_rng(3))
    bad = values.copy()
    bad[-1] += 15

    assert creep_of(bad).slope_at(0.5) == pytest.approx(creep_of(values).slope_at(0.5), abs=0.05)


@pytest.mark.parametrize(
    ("n", "first", "pace", "phi"), [(50, 21, 0.2, 0.0), (30, 1, 0.3, 0.0), (50, 21, 0.2, 0.4)]
)
def test_the_intervals_hold_the_truth_about_as_often_as_they_say(n, first, pace, phi):
    """Of 500 each: slope 95.8, 94.2 and 94.6 %, limit 95.4, 94.2 and 93.8 %."""
    rng, slopes, limits, count = np.random.default_rng(4), 0, 0, 240
    for _ in range(count):
        values = creep(n, first, pace, rng, phi)
        found = creep_of(values)
        slopes += found.slope_at(0.025) <= pace <= found.slope_at(0.975)
        level = pace * (n - first) + pace * 20
        soonest, latest = (found.steps_to(level, chance) for chance in (0.025, 0.975))
        limits += soonest is not None and soonest <= 20 and (latest is None or latest >= 20)
    # at 93 % 212 or fewer of 240 come by chance once in 150 such tests
    assert slopes >= 213
    assert limits >= 213


@pytest.mark.parametrize("values", [[1.0] * 6, [1.0, 2.0, np.nan, 4.0, 5.0, 6.0, 7.0, 8.0]])
def test_what_is_no_series_is_refused(values):
    with pytest.raises(OutOfRangeError, match="show no creep"):
        creep_of(values)
