"""Demonstrated reliability against Clopper and Pearson, Biometrika 26, 404 (1934).

The paper gives the interval, not these numbers: the check is the closed form for no failures, and
for failures a root search on the binomial distribution of a reference library.
"""

import pytest
from scipy.optimize import brentq
from scipy.stats import binom

from spinproof.stats.demonstration import reliability_lower_bound, runs_needed

pytestmark = pytest.mark.source("Clopper, Pearson 1934", kind="independent route")


def by_root_search(runs: int, failures: int, confidence: float) -> float:
    def excess(reliability: float) -> float:
        return float(binom.cdf(failures, runs, 1 - reliability)) - (1 - confidence)

    return float(brentq(excess, 1e-9, 1 - 1e-9, xtol=1e-13))


@pytest.mark.parametrize(
    ("runs", "failures", "expected"),
    [
        (50, 0, 0.941845),
        (54, 0, 0.946034),
        (58, 0, 0.949661),
        (59, 0, 0.950492),
        (59, 1, 0.922102),
        (77, 1, 0.939869),
        (56, 2, 0.891811),
    ],
)
def test_the_bound_equals_the_root_of_the_binomial_tail(runs, failures, expected):
    bound = reliability_lower_bound(runs, failures, 0.95)

    assert bound == pytest.approx(by_root_search(runs, failures, 0.95), abs=1e-9)
    assert bound == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("runs", [1, 22, 50, 54, 59])
def test_without_failures_the_bound_is_the_root_of_the_risk(runs):
    assert reliability_lower_bound(runs, 0, 0.95) == pytest.approx(0.05 ** (1 / runs), rel=1e-12)


@pytest.mark.parametrize(
    ("reliability", "confidence", "sizes"),
    [
        (0.95, 0.95, (59, 93, 124, 153, 181, 208)),
        (0.90, 0.90, (22, 38, 52, 65, 78, 91)),
        (0.99, 0.95, (299, 473, 628, 773, 913, 1049)),
    ],
)
def test_the_numbers_of_runs_for_zero_to_five_failures(reliability, confidence, sizes):
    """Smallest n with a binomial tail below the risk, searched one by one."""
    for failures, expected in enumerate(sizes):
        runs = runs_needed(reliability, confidence, failures)

        assert runs == expected
        assert binom.cdf(failures, runs, 1 - reliability) <= 1 - confidence
        assert binom.cdf(failures, runs - 1, 1 - reliability) > 1 - confidence
