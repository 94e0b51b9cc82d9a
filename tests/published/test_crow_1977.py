"""Crow's power law for reliability growth, by an example in print, his factors, and a library.

Failure times and results of the two examples were seen on a public teaching page on Crow-AMSAA
models; the factors are those of Crow (1977), cited from memory and recomputed. The library is
`reliability`, which fits the same law on its own.
"""

import warnings

import numpy as np
import pytest
from scipy.stats import poisson

from spinproof.stats.growth import fit_grouped_growth, fit_growth, trend_tests

pytestmark = pytest.mark.source("Crow 1977; MIL-HDBK-189C", kind="published")

TIMES = (
    *(2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8),
    *(167.9, 229.2, 296.7, 320.6, 328.2, 366.2, 396.7, 421.1, 438.2, 501.2, 620.0),
)


def test_a_test_that_its_last_failure_ended():
    growth = fit_growth(TIMES)

    assert growth.shape == pytest.approx(0.6142104, abs=1e-5)
    assert growth.scale == pytest.approx(0.4239422, abs=1e-5)
    assert growth.mean_between == pytest.approx(45.8830, abs=1e-3)
    assert growth.shape_less_biased == pytest.approx(0.558373, abs=1e-6)
    assert (growth.low, growth.high) == pytest.approx((30.745, 84.797), abs=5e-3)


def test_its_trend_leaves_the_last_failure_out():
    laplace, handbook, _ = trend_tests(TIMES)

    assert laplace.statistic == pytest.approx(-2.78316, abs=1e-5)
    assert handbook.statistic == pytest.approx(71.6367, abs=1e-4)
    assert handbook.chance == pytest.approx(0.002938, abs=1e-6)


def test_failures_counted_in_intervals():
    shape, scale = fit_grouped_growth((12, 6, 15, 3, 18, 16), (62, 100, 187, 210, 350, 500))

    assert (shape, scale) == pytest.approx((0.8136085, 0.4458543), abs=1e-6)
    assert 500 / (70 * shape) == pytest.approx(8.77923, abs=1e-4)


@pytest.mark.parametrize(
    ("failures", "confidence", "low", "high"),
    [
        (2, 0.80, 0.2614, 18.655),
        (2, 0.90, 0.1996, 38.661),
        (5, 0.95, 0.2996, 5.8619),
        (10, 0.90, 0.475789, 2.574786),
        (20, 0.80, 0.6568, 1.6377),
    ],
)
def test_the_factors_of_the_interval(failures, confidence, low, high):
    growth = fit_growth(np.linspace(1, 99, failures), 100, confidence)

    assert growth.low / growth.mean_between == pytest.approx(low, rel=2e-4)
    assert growth.high / growth.mean_between == pytest.approx(high, rel=2e-4)


def test_the_factors_after_a_failure():
    growth = fit_growth(TIMES, confidence=0.9)

    ratios = (growth.low / growth.mean_between, growth.high / growth.mean_between)
    assert ratios == pytest.approx((0.67006, 1.84812), abs=2e-4)


def test_another_library_fits_the_same_law():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what a third party's import warns of is not ours
        from reliability.Repairable_systems import reliability_growth  # noqa: PLC0415 - see above

        other = reliability_growth(
            times=list(TIMES), model="Crow-AMSAA", print_results=False, show_plot=False
        )

    growth = fit_growth(TIMES)
    assert growth.shape == pytest.approx(other.Beta, rel=1e-12)
    assert growth.scale == pytest.approx(other.Lambda, rel=1e-12)


def test_the_exact_interval_covers_at_least_as_often_as_it_says():
    """By simulation: a test of mean 10 failures that grow rarer, 1000 times, seeded."""
    rng, shape, trials, held = np.random.default_rng(5), 0.5, 1000, 0
    truth = 1 / (10 * shape)
    for count in poisson.rvs(10, size=trials, random_state=rng):
        if count < 2:
            held += 1  # nothing can be fitted, and nothing is said
            continue
        growth = fit_growth(np.sort(rng.random(count)) ** (1 / shape), 1.0, 0.9)
        held += growth.low <= truth <= growth.high

    assert held / trials >= 0.9
