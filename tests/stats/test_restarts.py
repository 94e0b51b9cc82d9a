"""Restarts and doubts: what they cost a claim. Closed forms of a number of runs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.demonstration import reliability_lower_bound
from spinproof.stats.growth import fit_grouped_growth, fit_growth, trend_tests
from spinproof.stats.restarts import (
    bound_after_attempts,
    chance_within_attempts,
    clean_bound,
    effective_runs,
    expected_runs_until_clean,
    runs_for_attempts,
)
from spinproof.stats.second_opinion import Prior, chance_of_further_clean_runs, credible_bound


def test_restarting_until_it_passes_destroys_the_confidence():
    chances = [chance_within_attempts(0.95, 59, k) for k in (1, 2, 3, 4)]

    assert chances == pytest.approx([0.0485, 0.0946, 0.1385425, 0.1803], abs=5e-5)
    assert chance_within_attempts(1.0, 59, 1) == 1.0


@given(st.floats(0.5, 0.999), st.floats(0.5, 0.999), st.integers(1, 6))
def test_so_many_runs_hold_the_confidence_over_all_attempts(reliability, confidence, attempts):
    runs = runs_for_attempts(reliability, confidence, attempts)

    assert chance_within_attempts(reliability, runs, attempts) <= 1 - confidence + 1e-9
    assert bound_after_attempts(runs, confidence, attempts) >= reliability - 1e-9


def test_one_attempt_is_the_plain_bound():
    assert bound_after_attempts(54, 0.95, 1) == pytest.approx(
        reliability_lower_bound(54, 0, 0.95), rel=1e-12
    )


def test_runs_made_until_enough_are_good_in_a_row():
    rng, made = np.random.default_rng(3), []
    for _ in range(2000):
        streak = runs = 0
        while streak < 20:
            runs += 1
            streak = streak + 1 if rng.random() < 0.95 else 0
        made.append(runs)
    spread = np.std(made) / np.sqrt(len(made))

    assert np.mean(made) == pytest.approx(expected_runs_until_clean(0.95, 20), abs=4 * spread)
    assert [round(expected_runs_until_clean(1 - p, 56), 1) for p in (0.01, 0.02, 0.05)] == [
        *(75.6, 105.0, 333.6)
    ]
    for failing, runs in ((0.005, 62.1704), (0.01, 72.0678), (0.02, 98.8545)):
        assert expected_runs_until_clean(1 - failing, 54) == pytest.approx(runs, abs=1e-4)
    assert expected_runs_until_clean(1.0, 56) == 56


@pytest.mark.parametrize(
    ("correlation", "runs", "bound"),
    [(0.01, 36.13, 0.9204), (0.02, 26.67, 0.8937), (0.05, 14.93, 0.8182), (0.10, 8.615, 0.7063)],
)
def test_runs_that_resemble_one_another_tell_less(correlation, runs, bound):
    effective = effective_runs(56, correlation)

    assert effective == pytest.approx(runs, abs=5e-3)
    assert clean_bound(effective, 0.95) == pytest.approx(bound, abs=5e-5)


def test_failures_that_are_missed_cost_bound():
    assert clean_bound(56, 0.95, 0.9) == pytest.approx(0.94212, abs=5e-6)
    assert clean_bound(1, 0.95, 0.5) == 0.0


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (chance_within_attempts, (1.2, 59, 1)),
        (runs_for_attempts, (0.95, 1.0, 1)),
        (bound_after_attempts, (0, 0.95, 1)),
        (expected_runs_until_clean, (0.0, 10)),
        (effective_runs, (10, 1.1)),
        (clean_bound, (10, 0.95, 0.0)),
        (credible_bound, (3, 4, 0.95)),
        (credible_bound, (3, 0, 1.0)),
        (credible_bound, (3, 0, 0.9, Prior("none", 0.0, 1.0))),
        (chance_of_further_clean_runs, (3, 0, -1)),
        (fit_growth, ((1.0, 2.0),)),
        (fit_growth, ((2.0, 1.0), 3.0)),
        (fit_growth, ((1.0, 2.0), 1.5)),
        (fit_growth, ((1.0, 2.0), 3.0, 1.0)),
        (fit_growth, ((1.0, float("nan")), 3.0)),
        (fit_grouped_growth, ((1, 2), (3.0,))),
        (fit_grouped_growth, ((0, 2), (3.0, 4.0))),
        (trend_tests, ((), 4.0)),
    ],
)
def test_numbers_that_make_no_sense_are_refused(law, inputs):
    with pytest.raises(OutOfRangeError):
        law(*inputs)


def test_few_failures_have_no_power_against_a_trend():
    assert [test.chance for test in trend_tests((1.0, 2.0, 5.0), 9.0)] == [None] * 3
