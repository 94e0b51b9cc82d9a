"""Means of autocorrelated readings against N. F. Zhang, Metrologia 43, S276 (2006).

The paper gives the formula; the factors come by an independent route, the closed form of its sum
for a first-order process.
"""

import numpy as np
import pytest
from scipy.signal import lfilter

from spinproof.signals.means import inflation, mean_of

pytestmark = pytest.mark.source("N. F. Zhang, Metrologia 43 (2006) S276", kind="independent route")


@pytest.mark.parametrize(
    ("count", "phi", "factor"),
    [
        (100, 0.5, 2.96),
        (100, 0.9, 17.20005),
        (50, 0.3, 1.832653),
        (1000, 0.95, 38.24),
        (20, 0.6, 3.62501),
    ],
)
def test_the_inflation_of_a_first_order_process_is_its_closed_form(count, phi, factor):
    closed = (1 + phi) / (1 - phi) - 2 * phi * (1 - phi**count) / (count * (1 - phi) ** 2)
    found = inflation(phi ** np.arange(1, count), count)

    assert found == pytest.approx(closed, rel=1e-12)
    assert found == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize(
    ("count", "phi", "uncertainty", "effective"),
    [(100, 0.5, 0.172047, 33.784), (600, 0.9, 0.176541, 32.086), (20, 0.6, 0.425735, 5.5172)],
)
def test_the_uncertainty_of_the_mean_of_a_first_order_process(count, phi, uncertainty, effective):
    """For a marginal variance of one; the naive figures are 0.1000, 0.0408 and 0.2236."""
    factor = inflation(phi ** np.arange(1, count), count)

    assert np.sqrt(factor / count) == pytest.approx(uncertainty, abs=1e-6)
    assert count / factor == pytest.approx(effective, rel=1e-4)


def first_order(count: int, phi: float, rows: int) -> np.ndarray:
    shocks = np.random.default_rng(6).standard_normal((rows, count + 500))
    return lfilter([np.sqrt(1 - phi**2)], [1, -phi], shocks, axis=1)[:, 500:]


def test_the_sample_variance_of_a_correlated_series_is_as_much_too_low_as_it_should():
    """E[s²] = σ² (n - f)/(n - 1): 0.83636 for 100 readings with φ = 0.9."""
    factor = inflation(0.9 ** np.arange(1, 100), 100)

    assert (100 - factor) / 99 == pytest.approx(0.83636, abs=1e-5)
    assert first_order(100, 0.9, 4000).var(axis=1, ddof=1).mean() == pytest.approx(0.836, abs=0.03)


@pytest.mark.parametrize(
    ("count", "phi", "least"),
    [(100, 0.0, 0.93), (100, 0.5, 0.93), (100, 0.9, 0.90), (400, 0.97, 0.91)],
)
def test_twice_the_stated_uncertainty_holds_the_mean(count, phi, least):
    """By each series itself; without what few readings leave open 77 to 96 % were held."""
    means = [mean_of(row) for row in first_order(count, phi, 600)]
    held = np.mean([abs(mean.value) <= 2 * mean.uncertainty for mean in means])

    assert least <= held <= 0.985
