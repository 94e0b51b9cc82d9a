"""What runs demonstrate: bounds, sizes and refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.demonstration import reliability_lower_bound, runs_needed


@given(runs=st.integers(2, 400), failures=st.integers(0, 20), confidence=st.floats(0.5, 0.999))
def test_at_the_bound_so_few_failures_have_exactly_the_remaining_chance(runs, failures, confidence):
    """The definition of the bound, by the binomial distribution."""
    if failures >= runs:
        return
    bound = reliability_lower_bound(runs, failures, confidence)

    assert binom.cdf(failures, runs, 1 - bound) == pytest.approx(1 - confidence, abs=1e-9)


@given(runs=st.integers(2, 300), data=st.data())
def test_a_failure_never_improves_a_claim_and_a_good_run_never_harms_it(runs, data):
    failures = data.draw(st.integers(0, runs - 1))
    bound = reliability_lower_bound(runs, failures, 0.95)

    assert reliability_lower_bound(runs, failures + 1, 0.95) < bound
    assert reliability_lower_bound(runs + 1, failures, 0.95) > bound


@given(
    reliability=st.floats(0.5, 0.995), confidence=st.floats(0.5, 0.99), failures=st.integers(0, 6)
)
def test_the_needed_runs_suffice_and_one_less_does_not(reliability, confidence, failures):
    runs = runs_needed(reliability, confidence, failures)

    assert reliability_lower_bound(runs, failures, confidence) >= reliability
    if runs > 1:
        assert reliability_lower_bound(runs - 1, failures, confidence) < reliability


def test_runs_that_all_failed_claim_nothing():
    assert reliability_lower_bound(5, 5, 0.95) == 0


@pytest.mark.parametrize(
    ("runs", "failures", "confidence"), [(0, 0, 0.95), (5, 6, 0.95), (5, -1, 0.95), (5, 0, 1.0)]
)
def test_counts_that_make_no_sense_are_refused(runs, failures, confidence):
    with pytest.raises(OutOfRangeError, match="make no sense"):
        reliability_lower_bound(runs, failures, confidence)


def test_certainty_is_never_demonstrated():
    with pytest.raises(OutOfRangeError, match="no number of runs"):
        runs_needed(1.0, 0.95)
