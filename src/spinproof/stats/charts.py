"""Control charts of a series of runs: individuals, exponentially weighted mean, cumulative sum."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.stats.validity import require

D2 = 2 / np.sqrt(np.pi)
"""Mean range of two normal values, in standard deviations. [1]"""
EWMA_WEIGHT = 0.1
"""Weight of the newest value: finds a slow drift. [1]"""
EWMA_WIDTH = 2.814
"""Half width in standard deviations at which a steady series gives a false alarm in 500. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Centre:
    """Where a steady series lies, from its first values.

    Attributes
    ----------
    mean : float
        Mean of the values.
    deviation : float
        Standard deviation from the mean moving range, which a slow drift hardly widens.
    count : int
        Number of values. [1]
    """

    mean: float
    deviation: float
    count: int


@dataclass(frozen=True)
class Chart:
    """A chart: what is plotted, its limits, and where it signals.

    Attributes
    ----------
    values : ndarray
        What is plotted, one for each value of the series.
    lower, upper : ndarray
        Limits at each value.
    signals : tuple of int
        Places, counted from 0, where the plot leaves its limits. [1]
    """

    values: Floats
    lower: Floats
    upper: Floats
    signals: tuple[int, ...]


def centre_of(values: ArrayLike) -> Centre:
    """Estimate where a series lies from its mean and its mean moving range.

    Parameters
    ----------
    values : array_like
        At least two values of a series in order.

    Returns
    -------
    Centre
        Mean and standard deviation.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two values, or they are not finite.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    x = _series(values, 2, "centre_of")
    return Centre(float(x.mean()), float(np.abs(np.diff(x)).mean() / D2), x.size)


def individuals_chart(values: ArrayLike, centre: Centre, width: float = 3.0) -> Chart:
    """Plot values themselves: finds a single jolt.

    Parameters
    ----------
    values : array_like
        Values of a series in order.
    centre : Centre
        Where the series lies when it is steady.
    width : float
        Half width of the limits in standard deviations. [1]

    Returns
    -------
    Chart
        The chart.

    Raises
    ------
    OutOfRangeError
        If there is no value, or one is not finite.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    x = _series(values, 1, "individuals_chart")
    return _chart(x, centre.mean, np.full(x.size, width * centre.deviation))


def ewma_chart(
    values: ArrayLike, centre: Centre, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH
) -> Chart:
    r"""Plot an exponentially weighted mean: finds a slow drift.

    .. math:: z_i = \lambda x_i + (1 - \lambda) z_{i-1},\quad
        s_i = s \sqrt{\lambda (1 - (1 - \lambda)^{2i}) / (2 - \lambda)}

    Parameters
    ----------
    values : array_like
        Values of a series in order.
    centre : Centre
        Where the series lies when it is steady; the plot starts there.
    weight : float
        Weight of the newest value, above 0 and up to 1. [1]
    width : float
        Half width of the limits in standard deviations of the plot. [1]

    Returns
    -------
    Chart
        The chart, with limits that widen from the start.

    Raises
    ------
    OutOfRangeError
        If there is no value, one is not finite, or the weight lies outside its range.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    .. [2] J. M. Lucas and M. S. Saccucci, "Exponentially weighted moving average control
       schemes," Technometrics 32, 1-12 (1990; run lengths cited from memory).
    """
    x = _series(values, 1, "ewma_chart")
    require(
        0 < weight <= 1,
        f"a weight of {weight:g} makes no chart",
        where="ewma_chart",
        mend="Give a weight above 0 and up to 1, for example 0.1.",
    )
    z = np.empty(x.size)
    last = centre.mean
    for i, value in enumerate(x):
        last = z[i] = weight * value + (1 - weight) * last
    faded = (1 - weight) ** (2 * np.arange(1, x.size + 1))
    spread = centre.deviation * np.sqrt(weight * (1 - faded) / (2 - weight))
    return _chart(z, centre.mean, width * spread)


@dataclass(frozen=True)
class CumulativeSums:
    """Sums of deviations beyond an allowance, upward and downward.

    Attributes
    ----------
    above, below : ndarray
        The two sums, one for each value.
    limit : float
        The sum that signals.
    signals : tuple of int
        Places, counted from 0, where a sum is above the limit. [1]
    since : int or None
        Where the sum that signals first began to grow: the likely start of the change. [1]
    """

    above: Floats
    below: Floats
    limit: float
    signals: tuple[int, ...]
    since: int | None


def cumulative_sums(
    values: ArrayLike, target: float, allowance: float, limit: float
) -> CumulativeSums:
    r"""Sum deviations beyond an allowance: finds a lasting small shift, and since when.

    .. math:: S^+_i = \max(0, S^+_{i-1} + x_i - t - k),\quad
        S^-_i = \max(0, S^-_{i-1} + t - k - x_i)

    Parameters
    ----------
    values : array_like
        Values of a series in order.
    target : float
        Where the series lies when it is steady, in the unit of the values.
    allowance : float
        Deviation k that is not summed: half the shift to find, in the unit of the values.
    limit : float
        Sum that signals, in the unit of the values.

    Returns
    -------
    CumulativeSums
        Both sums and where they signal.

    Raises
    ------
    OutOfRangeError
        If there is no value, one is not finite, or allowance or limit are not above 0.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    """
    x = _series(values, 1, "cumulative_sums")
    require(
        allowance > 0 and limit > 0,
        f"an allowance of {allowance:g} and a limit of {limit:g} make no chart",
        where="cumulative_sums",
        mend="Give both above 0, for example 0.5 and 5 standard deviations.",
    )
    above, below = _sums(x - target - allowance), _sums(target - allowance - x)
    signals = np.flatnonzero((above > limit) | (below > limit))
    since = None
    if signals.size:
        sums = above if above[signals[0]] > limit else below
        zeros = np.flatnonzero(sums[: signals[0]] == 0)
        since = int(zeros[-1]) + 1 if zeros.size else 0
    return CumulativeSums(above, below, limit, tuple(map(int, signals)), since)


def _sums(steps: Floats) -> Floats:
    total = np.concatenate(([0.0], np.cumsum(steps)))
    sums: Floats = (total - np.minimum.accumulate(total))[1:]
    return sums


def _chart(plotted: Floats, mean: float, half: Floats) -> Chart:
    lower, upper = mean - half, mean + half
    signals = np.flatnonzero((plotted < lower) | (plotted > upper))
    return Chart(plotted, lower, upper, tuple(map(int, signals)))


def _series(values: ArrayLike, least: int, where: str) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    require(
        x.ndim == 1 and x.size >= least and bool(np.isfinite(x).all()),
        f"{x.size} values, {int((~np.isfinite(x)).sum())} of them not finite, make no series",
        where=where,
        mend=f"Give at least {least} finite values in order; leave out runs without a value.",
    )
    return x
