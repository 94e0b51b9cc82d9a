"""Spare parts against tables of the Poisson distribution.

The table is recomputed with its sum written out; the negative binomial by integrating Poisson
counts over the gamma distribution of the rate.
"""

from math import exp, factorial

import pytest
from scipy.integrate import quad
from scipy.stats import gamma, poisson

from spinproof.stats.spares import spares_for_history, spares_for_rate

pytestmark = pytest.mark.source("Poisson distribution, written out", kind="independent route")


@pytest.mark.parametrize(
    ("demand", "stock"),
    [
        (0.2, (0, 1, 1, 2)),
        (0.5, (1, 1, 2, 3)),
        (1.0, (2, 2, 3, 4)),
        (2.0, (3, 4, 5, 6)),
        (3.0, (4, 5, 6, 8)),
        (5.0, (7, 8, 9, 11)),
        (10.0, (13, 14, 15, 18)),
    ],
)
def test_the_stock_for_a_mean_demand(demand, stock):
    for probability, expected in zip((0.80, 0.90, 0.95, 0.99), stock, strict=True):
        terms = [exp(-demand) * demand**k / factorial(k) for k in range(expected + 1)]

        assert spares_for_rate(demand, probability) == expected
        assert sum(terms) >= probability > sum(terms[:-1])


@pytest.mark.parametrize(("probability", "expected"), [(0.90, 5), (0.95, 7)])
def test_the_stock_when_the_rate_is_known_from_two_failures(probability, expected):
    """The rate has a gamma distribution with 2.5 over 1000 h (Jeffreys)."""

    def suffices(stock):
        rate = gamma(2.5, scale=1 / 1000.0)
        return quad(lambda r: rate.pdf(r) * poisson.cdf(stock, r * 1000.0), 0, 0.05)[0]

    assert spares_for_history(2, 1000.0, 1000.0, probability) == expected
    assert suffices(expected) >= probability > suffices(expected - 1)
