"""Means of readings that follow one another closely, with an honest standard uncertainty."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAST_DEGREES = 2.5
"""Degrees of freedom below which the scatter of so few readings has no finite variance. [1]"""


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
    r"""Mean of evenly spaced readings, with the correlation of neighbours taken into account.

    .. math:: u^2 = \frac{s^2 f}{n}\,\frac{\nu}{\nu - 2},\quad \nu = n/f - 1

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
    Lags count up to the first that is not significant (magnitude below 1.96/√n), at most n/4. Where
    the first lag is significant, the inflation is at least that of a first-order process with its
    correlation, corrected for the bias (1 + 3r)/n of the estimate (Marriott and Pope 1954, from
    memory). It never falls below one, and ν not below 2.5. The sample variance is corrected for its
    bias, (n-1)/(n-f). A trend inside the readings makes the result too large: take ramps out first.
    Of 600 simulated first-order series each, twice u held the mean in 95 % (100 readings, φ = 0.5),
    93 % (100, 0.9), 94 % (400, 0.97); of 20 readings with φ = 0.9 in 80 % only.

    References
    ----------
    .. [1] N. F. Zhang, "Calculation of the uncertainty of the mean of autocorrelated
       measurements," Metrologia 43, S276-S281 (2006).
    .. [2] JCGM 101:2008, 6.4.9.4 (the factor ν/(ν-2)).
    """
    v = np.asarray(values, dtype=np.float64)
    v = v[np.isfinite(v)]
    n = int(v.size)
    if n < 2:
        return Mean(float(v[0]) if n else np.nan, np.nan, np.nan, float(n))
    f, variance = _inflated(v - v.mean(), 1)
    spread = np.sqrt(variance * f / n * _few(n / f - 1))
    return Mean(float(v.mean()), float(spread), float(np.sqrt(variance)), n / f)


def slope_of(time: ArrayLike, value: ArrayLike) -> tuple[float, float]:
    """Slope of a line through readings whose neighbours may resemble one another.

    Never raises for two or more different moments.

    Parameters
    ----------
    time : array_like
        Moments, evenly spaced or nearly so. [s]
    value : array_like
        Readings. [unit]

    Returns
    -------
    tuple of float
        Slope, and its standard uncertainty from the scatter about the line, widened by the
        correlation of neighbours. [unit/s]

    References
    ----------
    .. [1] N. F. Zhang, Metrologia 43, S276-S281 (2006), for the inflation.

    Examples
    --------
    >>> slope, spread = slope_of([0.0, 1.0, 2.0, 3.0], [0.0, 2.1, 3.9, 6.0])
    >>> round(slope, 2), round(spread, 3)
    (1.98, 0.095)
    """
    t, y = np.asarray(time, dtype=np.float64), np.asarray(value, dtype=np.float64)
    n, x = t.size, t - t.mean()
    slope = float(x @ (y - y.mean()) / (x @ x))
    f, variance = _inflated(y - y.mean() - slope * x, 2)
    spread = np.sqrt(variance * f / float(x @ x) * _few(n / f - 2))
    return slope, float(spread)


def _inflated(off: NDArray[np.float64], unknowns: int) -> tuple[float, float]:
    """Give inflation and variance of what a fit of one or two unknowns leaves."""
    n = int(off.size)
    rho = autocorrelation(off, max(n // 4, 1))
    least = 1.96 / np.sqrt(n)
    faint = np.flatnonzero(np.abs(rho) < least)
    f = max(inflation(rho[: faint[0]] if faint.size else rho, n), 1.0)
    if rho[0] > least:
        r = min(float(rho[0]) + (unknowns + (2 + unknowns) * float(rho[0])) / n, 1 - 2 / n)
        f = max(f, (1 + r) / (1 - r) - 2 * r * (1 - r**n) / (n * (1 - r) ** 2))
    f = min(f, n / 3) if n > 3 else 1.0
    return f, float(off @ off) / max(n - f - unknowns + 1, 1.0)


def _few(degrees: float) -> float:
    """Variance of a Student distribution of few degrees, over that of a normal one."""
    held = max(degrees, LEAST_DEGREES)
    return held / (held - 2)


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
