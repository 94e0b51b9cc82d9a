"""Reliability growth when there are failures: the power law, its intervals, and trend tests.

The axis may be hours, runs or revolutions; whoever prints a result names it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln
from scipy.stats import chi2, gamma, norm

from spinproof.stats.validity import require

FEWEST_FOR_A_TREND = 4
"""With fewer failures a trend test has no power."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Growth:
    """A power law for the mean number of failures, ``scale * t**shape``.

    Attributes
    ----------
    failures : int
        Number of failures it was fitted to. [1]
    end : float
        Where the test ended, on its own axis.
    shape : float
        Exponent; below 1 the failures grow rarer. [1]
    shape_less_biased : float
        The same with the small-sample correction. [1]
    scale : float
        Factor of the power law.
    mean_between : float
        Instantaneous mean distance between failures at the end, on the axis of the test.
    low, high : float
        Two-sided interval of ``mean_between``; from 0 to infinity where there is none.
    confidence : float
        Confidence of that interval. [1]
    ended_by : str
        Whether the test ended at a set time or at its last failure.
    """

    failures: int
    end: float
    shape: float
    shape_less_biased: float
    scale: float
    mean_between: float
    low: float
    high: float
    confidence: float
    ended_by: Literal["time", "failure"]


@dataclass(frozen=True)
class TrendTest:
    """Whether failures grow rarer: a statistic, and its one-sided chance without any trend.

    Attributes
    ----------
    name : str
        Name of the test.
    statistic : float
        Its statistic. [1]
    chance : float or None
        Chance of such a sign of growth if there is none; None when there are too few failures.
    """

    name: str
    statistic: float
    chance: float | None


def fit_growth(times: Sequence[float], end: float | None = None, confidence: float = 0.9) -> Growth:
    r"""Fit the power law of Crow to failure times by maximum likelihood.

    .. math:: \hat\beta = n / \sum \ln(T / t_i),\quad \hat\lambda = n / T^{\hat\beta},\quad
        \hat M = T / (n \hat\beta)

    Parameters
    ----------
    times : sequence of float
        Failure times in order, from the start of the test, above 0.
    end : float, optional
        Where the test ended; without it, it ended at the last failure.
    confidence : float
        Confidence of the two-sided interval for the mean distance. [1]

    Returns
    -------
    Growth
        The fitted law.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two failures, or times are not in order inside the test.

    Notes
    -----
    The interval is Crow's: conditional and exact for a test ended by time, therefore a little too
    wide; by the product of two gamma variables for a test ended by a failure.

    References
    ----------
    .. [1] L. H. Crow, "Confidence interval procedures for reliability growth analysis," US Army
       AMSAA TR-197 (1977; cited from memory).
    .. [2] MIL-HDBK-189C, Reliability Growth Management (2011).

    Examples
    --------
    >>> times = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
    >>> round(fit_growth(times, end=1500).shape, 6)
    0.537229
    """
    t, T = _checked(times, end, "fit_growth")
    require(
        0 < confidence < 1,
        f"a confidence of {confidence:g} gives no interval",
        where="fit_growth",
        mend="Give a confidence between 0 and 1, for example 0.9.",
    )
    n, by_failure = len(t), end is None
    shape = n / float(np.log(T / t).sum())
    spread = _after_failure if by_failure else _after_time
    low, high = spread(n, confidence)
    mean = T / (n * shape)
    return Growth(
        failures=n,
        end=T,
        shape=shape,
        shape_less_biased=shape * (n - (2 if by_failure else 1)) / n,
        scale=n / T**shape,
        mean_between=mean,
        low=low * mean,
        high=high * mean,
        confidence=confidence,
        ended_by="failure" if by_failure else "time",
    )


def fit_grouped_growth(counts: Sequence[int], ends: Sequence[float]) -> tuple[float, float]:
    r"""Fit the power law to failures counted in intervals, by maximum likelihood.

    Parameters
    ----------
    counts : sequence of int
        Failures in each interval. [1]
    ends : sequence of float
        Where each interval ends; the first begins at 0.

    Returns
    -------
    tuple of float
        Shape and scale of the power law.

    Raises
    ------
    OutOfRangeError
        If counts and ends do not fit one another, or fewer than two intervals hold failures.

    References
    ----------
    .. [1] MIL-HDBK-189C, Reliability Growth Management (2011), grouped data.
    """
    n, t = np.asarray(counts, dtype=float), np.asarray(ends, dtype=float)
    require(
        n.shape == t.shape
        and n.size >= 2
        and bool((n >= 0).all())
        and int((n > 0).sum()) >= 2
        and bool((np.diff(t, prepend=0.0) > 0).all()),
        "counts and ends of the intervals do not fit one another",
        where="fit_grouped_growth",
        mend="Give one rising end for each count, and failures in at least two intervals.",
    )
    start = np.concatenate(([0.0], t[:-1])) / t[-1]
    stop = t / t[-1]

    def score(shape: float) -> float:
        late = stop**shape * np.log(stop)
        early = np.where(start > 0, start**shape * np.log(np.where(start > 0, start, 1.0)), 0.0)
        return float((n * (late - early) / (stop**shape - start**shape)).sum())

    shape = float(brentq(score, 1e-6, 50.0, xtol=1e-12))
    return shape, float(n.sum() / t[-1] ** shape)


def trend_tests(times: Sequence[float], end: float | None = None) -> tuple[TrendTest, ...]:
    r"""Test failure times for growth: Laplace, the military handbook, reverse arrangements.

    Parameters
    ----------
    times : sequence of float
        Failure times in order, from the start of the test, above 0.
    end : float, optional
        Where the test ended; without it, it ended at the last failure.

    Returns
    -------
    tuple of TrendTest
        The three tests; chances are None for fewer than four failures.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two failures, or times are not in order inside the test.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4.
    """
    t, T = _checked(times, end, "trend_tests")
    gaps = np.diff(t, prepend=0.0)
    inner = t[:-1] if end is None else t
    n = len(inner)
    z = float(np.sqrt(12 * n) * (inner.sum() / (n * T) - 0.5))
    statistic = float(2 * np.log(T / inner).sum())
    arrangements = sum(int((gaps[i + 1 :] > gaps[i]).sum()) for i in range(len(gaps)))
    powerful = len(t) >= FEWEST_FOR_A_TREND
    return (
        TrendTest("Laplace", z, float(norm.cdf(z)) if powerful else None),
        TrendTest(
            "military handbook", statistic, float(chi2.sf(statistic, 2 * n)) if powerful else None
        ),
        TrendTest(
            "reverse arrangements",
            float(arrangements),
            _chance_of_arrangements(arrangements, len(gaps)) if powerful else None,
        ),
    )


def _checked(times: Sequence[float], end: float | None, where: str) -> tuple[Floats, float]:
    t = np.asarray(times, dtype=float)
    T = float(t[-1]) if end is None and t.size else float(end or 0.0)
    require(
        t.ndim == 1
        and t.size >= (3 if end is None else 2)
        and bool((t > 0).all())
        and bool((np.diff(t) >= 0).all())
        and bool(t.size and t[-1] <= T),
        f"{t.size} failure times up to {T:g} do not make a growth record",
        where=where,
        mend="Give at least two failures (three when the last one ended the test), in order, above "
        "0 and not after the end.",
    )
    return t, T


def _after_time(n: int, confidence: float) -> tuple[float, float]:
    # N given W has a chance proportional to x**k / (k! (k-1)!), k = 1, 2, ...
    tail = (1 - confidence) / 2
    k = np.arange(1, 40 * n + 400)
    weight = -gammaln(k + 1) - gammaln(k)

    def up_to(x: float, last: int) -> float:
        logs = k * np.log(x) + weight
        chances = np.exp(logs - logs.max())
        return float(chances[:last].sum() / chances.sum())

    bracket = (1e-9, (4.0 * n + 60) ** 2)
    upper = brentq(lambda x: up_to(x, n) - tail, *bracket, xtol=1e-12, rtol=1e-12)
    lower = brentq(lambda x: 1 - up_to(x, n - 1) - tail, *bracket, xtol=1e-12, rtol=1e-12)
    return n * n / float(upper), n * n / float(lower)


def _after_failure(n: int, confidence: float) -> tuple[float, float]:
    # M / M_hat = n**2 / (G H), G and H gamma variables of shapes n and n - 1
    tail = (1 - confidence) / 2
    q = (np.arange(4000) + 0.5) / 4000
    h = gamma.ppf(q, n - 1)

    def below(z: float) -> float:
        return float(gamma.cdf(z / h, n).mean())

    bracket = (1e-12, float(gamma.ppf(1 - 1e-12, n)) ** 2 * 4)
    upper = brentq(lambda z: below(z) - (1 - tail), *bracket, rtol=1e-12)
    lower = brentq(lambda z: below(z) - tail, *bracket, rtol=1e-12)
    return n * n / float(upper), n * n / float(lower)


def _chance_of_arrangements(seen: int, gaps: int) -> float:
    # the number of arrangements is the sum of independent uniform numbers 0..i, i = 0..gaps-1
    ways = np.ones(1)
    for i in range(1, gaps):
        ways = np.convolve(ways, np.full(i + 1, 1.0 / (i + 1)))
    return float(ways[seen:].sum())
