"""Counts against F. Garwood, Biometrika 28, 437 (1936), and the tables made from it.

The upper limits for few events are also those of the Particle Data Group's review (from memory);
the route beside them inverts the Poisson distribution of a reference library.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import poisson

from spinproof.stats.counts import count_interval, count_upper_bound

pytestmark = pytest.mark.source("Garwood 1936", kind="independent route")


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        (0, 0.0, 3.68888),
        (1, 0.0253178, 5.571643),
        (2, 0.242209, 7.224688),
        (3, 0.618672, 8.767273),
        (5, 1.623486, 11.668332),
        (10, 4.795389, 18.390356),
        (20, 12.216520, 30.888378),
    ],
)
def test_the_interval_for_a_few_events(count, low, high):
    assert count_interval(count) == pytest.approx((low, high), abs=1e-5)


@pytest.mark.source("Particle Data Group, Review of Particle Physics", kind="from memory")
@pytest.mark.parametrize(
    ("count", "at_90", "at_95"), [(0, 2.30, 3.00), (1, 3.89, 4.74), (3, 6.68, 7.75)]
)
def test_the_upper_limits_for_a_few_events(count, at_90, at_95):
    assert count_upper_bound(count, 0.90) == pytest.approx(at_90, abs=5e-3)
    assert count_upper_bound(count, 0.95) == pytest.approx(at_95, abs=5e-3)


@given(count=st.integers(0, 200), confidence=st.floats(0.6, 0.999))
def test_at_the_bound_so_few_events_have_exactly_the_remaining_chance(count, confidence):
    bound = count_upper_bound(count, confidence)

    assert poisson.cdf(count, bound) == pytest.approx(1 - confidence, abs=1e-9)


@given(count=st.integers(1, 200))
def test_both_ends_invert_the_poisson_distribution(count):
    low, high = count_interval(count)

    assert low == pytest.approx(
        brentq(lambda mean: poisson.sf(count - 1, mean) - 0.025, 1e-9, count + 1), rel=1e-6
    )
    assert high == pytest.approx(
        brentq(lambda mean: poisson.cdf(count, mean) - 0.025, count, 3 * count + 10), rel=1e-6
    )
