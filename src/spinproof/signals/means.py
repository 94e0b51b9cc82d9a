"""Means of readings that follow one another closely, with an honest standard uncertainty."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Mean:
    """A mean of autocorrelated readings."""

    value: float
    """The mean. [unit]"""
    uncertainty: float
    """Standard uncertainty of the mean. [unit]"""
    scatter: float
    """Standard deviation of the readings. [unit]"""
    effective: float
    """How many independent readings would say as much. [1]"""


def autocorrelation(values: ArrayLike, lags: int) -> NDArray[np.float64]:
    """Sample autocorrelation for the lags 1 to ``lags``.

    Never raises.

    Parameters
    ----------
    values : array_like
        Evenly spaced readings. [unit]
    lags : int
        Largest lag, less than the number of readings. [1]

    Returns
    -------
    ndarray
        Autocorrelations; zero for readings that are all the same. [1]

    Examples
    --------
    >>> autocorrelation([1.0, -1.0, 1.0, -1.0], 2).tolist()
    [-0.75, 0.5]
    """
    v = np.asarray(values, dtype=np.float64)
    off = v - v.mean()
    size = 1 << (2 * v.size - 1).bit_length()
    power = np.abs(np.fft.rfft(off, size)) ** 2
    products = np.fft.irfft(power, size)[: lags + 1]
    if products[0] <= 1e-24 * v.size * max(1.0, float(np.max(np.abs(v))) ** 2):
        return np.zeros(lags)
    return np.asarray((products[1:] / products[0]).round(12))


def inflation(correlations: ArrayLike, count: int) -> float:
    r"""Factor by which correlation inflates the variance of a mean.

    .. math:: f = 1 + 2 \sum_{k=1}^{K} \left(1 - \frac{k}{n}\right) \rho_k

    Never raises.

    Parameters
    ----------
    correlations : array_like
        Autocorrelations for the lags 1, 2, ... [1]
    count : int
        Number n of readings. [1]

    Returns
    -------
    float
        The factor f; n/f is the effective number of readings. [1]

    References
    ----------
    .. [1] N. F. Zhang, "Calculation of the uncertainty of the mean of autocorrelated
       measurements," Metrologia 43, S276-S281 (2006).

    Examples
    --------
    >>> round(inflation([0.5**k for k in range(1, 100)], 100), 5)
    2.96
    """
    rho = np.asarray(correlations, dtype=np.float64)
    lag = np.arange(1, rho.size + 1)
    return float(1 + 2 * np.sum((1 - lag / count) * rho))


def mean_of(values: ArrayLike) -> Mean:
    """Mean of evenly spaced readings, with the correlation of neighbours taken into account.

    Never raises.

    Parameters
    ----------
    values : array_like
        Readings of a steady quantity; NaN readings are left out. [unit]

    Returns
    -------
    Mean
        Mean and uncertainty; both NaN without readings, uncertainty NaN with fewer than two.

    Notes
    -----
    Lags count up to the first that is not significant (magnitude below 1.96/√n), at most n/4. The
    inflation never falls below one. The sample variance is corrected for its bias, (n-1)/(n-f).
    A trend inside the readings makes the result too large: take ramps out first.

    References
    ----------
    .. [1] N. F. Zhang, "Calculation of the uncertainty of the mean of autocorrelated
       measurements," Metrologia 43, S276-S281 (2006).
    """
    v = np.asarray(values, dtype=np.float64)
    v = v[np.isfinite(v)]
    n = int(v.size)
    if n < 2:
        return Mean(float(v[0]) if n else np.nan, np.nan, np.nan, float(n))
    rho = autocorrelation(v, max(n // 4, 1))
    faint = np.flatnonzero(np.abs(rho) < 1.96 / np.sqrt(n))
    f = max(inflation(rho[: faint[0]] if faint.size else rho, n), 1.0)
    f = min(f, n / 2)
    variance = float(v.var(ddof=1)) * (n - 1) / (n - f)
    return Mean(float(v.mean()), float(np.sqrt(variance * f / n)), float(np.sqrt(variance)), n / f)


def block_uncertainty(values: ArrayLike, blocks: int) -> float:
    """Find the standard uncertainty of a mean by a second route: the scatter of block means.

    Never raises.

    Parameters
    ----------
    values : array_like
        Evenly spaced readings. [unit]
    blocks : int
        Number of blocks, each long against the correlation time; at least two. [1]

    Returns
    -------
    float
        Standard uncertainty of the mean over all whole blocks. [unit]

    Examples
    --------
    >>> block_uncertainty([1.0, 1.0, 3.0, 3.0], 2)
    1.0
    """
    v = np.asarray(values, dtype=np.float64)
    length = v.size // blocks
    means = v[: length * blocks].reshape(blocks, length).mean(axis=1)
    return float(means.std(ddof=1) / np.sqrt(blocks))
