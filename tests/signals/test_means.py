"""Means of autocorrelated readings: coverage, correction and degenerate input."""

import numpy as np
import pytest
from scipy.signal import lfilter

from spinproof.signals.means import autocorrelation, block_uncertainty, inflation, mean_of


def correlated(phi, count, rows, seed):
    """Rows of a stationary first-order process with unit variance."""
    rng = np.random.default_rng(seed)
    shocks = rng.normal(size=(rows, count + 400)) * np.sqrt(1 - phi**2)
    return lfilter([1], [1, -phi], shocks, axis=1)[:, 400:]


def test_the_stated_uncertainty_is_the_scatter_of_means():
    """600 readings with phi 0.9: the naive formula would claim four times less."""
    rows = correlated(0.9, 600, 400, seed=11)
    stated = np.array([mean_of(row).uncertainty for row in rows])

    assert np.sqrt(np.mean(stated**2)) == pytest.approx(rows.mean(axis=1).std(), rel=0.15)
    assert np.mean(stated) > 3.5 * np.mean(rows.std(axis=1)) / np.sqrt(600)


def test_block_means_agree_with_the_lag_window():
    rows = correlated(0.8, 4000, 100, seed=12)
    window = np.mean([mean_of(row).uncertainty for row in rows])
    blocks = np.mean([block_uncertainty(row, 40) for row in rows])

    assert window == pytest.approx(blocks, rel=0.1)


def test_independent_readings_keep_the_plain_formula():
    values = np.random.default_rng(13).normal(5, 2, 1000)
    mean = mean_of(values)

    assert mean.value == pytest.approx(values.mean())
    assert mean.uncertainty == pytest.approx(2 / np.sqrt(1000), rel=0.1)
    assert mean.scatter == pytest.approx(2, rel=0.1)
    assert mean.effective > 900


def test_constant_missing_and_single_readings():
    assert mean_of([3.0, 3.0, 3.0, 3.0]).uncertainty == 0
    assert mean_of([np.nan, 4.0]).value == 4.0
    assert np.isnan(mean_of([4.0]).uncertainty)
    assert np.isnan(mean_of([]).value)


@pytest.mark.parametrize("lags", [1, 5, 50])
def test_autocorrelation_equals_its_definition(lags):
    v = correlated(0.7, 300, 1, seed=14)[0]
    off = v - v.mean()
    expected = [off[k:] @ off[:-k] / (off @ off) for k in range(1, lags + 1)]

    assert autocorrelation(v, lags) == pytest.approx(expected, abs=1e-9)


def test_no_correlation_inflates_nothing():
    assert inflation([], 10) == 1
