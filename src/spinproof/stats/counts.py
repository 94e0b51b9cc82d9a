"""Counts of rare things: particles, droplets, broken wafers."""

from dataclasses import dataclass
from math import ceil, exp, floor, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, ndtri
from scipy.stats import binom, poisson_means_test

from spinproof.stats.demonstration import reliability_lower_bound
from spinproof.stats.validity import require

MANY = 20_000
"""Counts above which the sharper test takes too much memory for what it adds."""
EQUAL = 0.5
"""Share of the counts that falls on one of two equal areas. [1]"""


def count_interval(count: int, coverage: float = 0.95) -> tuple[float, float]:
    r"""Exact interval for the expected count behind one count.

    .. math:: \left[\tfrac12 \chi^2_{\alpha/2;\,2k},\;
              \tfrac12 \chi^2_{1-\alpha/2;\,2k+2}\right]

    Parameters
    ----------
    count : int
        Count k, zero or more. [1]
    coverage : float
        Coverage probability, between 0 and 1. [1]

    Returns
    -------
    tuple of float
        Lower and upper end. [1]

    Raises
    ------
    OutOfRangeError
        If the count is negative, or the coverage not between 0 and 1.

    Notes
    -----
    Holds when the events are independent of one another.

    References
    ----------
    .. [1] F. Garwood, "Fiducial limits for the Poisson distribution," Biometrika 28, 437 (1936).

    Examples
    --------
    >>> low, high = count_interval(10)
    >>> round(low, 6), round(high, 6)
    (4.795389, 18.390356)
    """
    _require_count("count_interval", count, coverage)
    tail = (1 - coverage) / 2
    low = 0.0 if count == 0 else float(chdtri(2 * count, 1 - tail)) / 2
    return low, float(chdtri(2 * count + 2, tail)) / 2


def count_upper_bound(count: int, confidence: float = 0.95) -> float:
    """One-sided upper bound on the expected count behind one count.

    Parameters
    ----------
    count : int
        Count, zero or more. [1]
    confidence : float
        Confidence, between 0 and 1. [1]

    Returns
    -------
    float
        The bound: about 3 for none found at 95 %. [1]

    Raises
    ------
    OutOfRangeError
        If the count is negative, or the confidence not between 0 and 1.

    References
    ----------
    .. [1] F. Garwood, "Fiducial limits for the Poisson distribution," Biometrika 28, 437 (1936).

    Examples
    --------
    >>> round(count_upper_bound(0), 6)
    2.995732
    """
    _require_count("count_upper_bound", count, confidence)
    return float(chdtri(2 * count + 2, 1 - confidence)) / 2


def share_upper_bound(
    found: int, inspected: int, confidence: float = 0.95, *, alike: float = 0.0, group: int = 1
) -> float:
    r"""One-sided upper bound on a share, for example of wet wafers among those inspected.

    .. math:: n_\mathrm{eff} = \frac{n}{1 + (m - 1)\rho}

    Parameters
    ----------
    found : int
        How many showed the defect. [1]
    inspected : int
        How many were inspected, n. [1]
    confidence : float
        Confidence, between 0 and 1. [1]
    alike : float
        How alike the pieces of one group are, ρ: 0 independent, 1 all the same. [1]
    group : int
        Size m of a group, for example the wafers of one run. [1]

    Returns
    -------
    float
        The bound, exact for independent pieces. [1]

    Raises
    ------
    OutOfRangeError
        If the counts make no sense, the confidence is not between 0 and 1, ``alike`` is outside
        0 to 1, or the group has no piece.

    Notes
    -----
    Numbers are cut to whole effective pieces, the found ones rounded up, so the bound errs to the
    safe side.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26, 404-413 (1934).
    .. [2] L. Kish, Survey Sampling (1965), for the effect of groups (from memory).

    Examples
    --------
    >>> round(share_upper_bound(0, 13), 4), round(share_upper_bound(0, 1400), 6)
    (0.2058, 0.002138)
    """
    require(
        0 <= alike <= 1 and group >= 1,
        f"groups of {group} that are alike by {alike:g} make no sense",
        where="share_upper_bound",
        mend="Give a likeness between 0 and 1, and a group of one or more.",
    )
    effect = 1 + (group - 1) * alike
    pieces = max(floor(inspected / effect + 1e-9), min(inspected, 1))
    defects = found if effect == 1 else min(ceil(found / effect - 1e-9), pieces)
    return 1 - reliability_lower_bound(pieces, defects, confidence)


@dataclass(frozen=True)
class Adders:
    """What was added between two counts of equal areas."""

    difference: int
    """Count after minus count before; it may be negative. [1]"""
    lower: float
    """Lower end of the interval for the expected difference. [1]"""
    upper: float
    """Upper end. [1]"""
    chance: float
    """Probability of so many after, or more, when nothing was added (exact). [1]"""
    chance_sharp: float
    """The same by the less conservative test of two Poisson means. [1]"""


def adders(before: int, after: int, coverage: float = 0.95) -> Adders:
    r"""Tell what a process added, from a count before and a count after.

    .. math:: z(d) = \frac{k_2 - k_1 - d}{\sqrt{\tilde\lambda_1 + \tilde\lambda_2}}, \qquad
              \tilde\lambda_2 = \tilde\lambda_1 + d

    Parameters
    ----------
    before : int
        Count k1 before, zero or more. [1]
    after : int
        Count k2 after, on the same area. [1]
    coverage : float
        Coverage probability of the interval, between 0 and 1. [1]

    Returns
    -------
    Adders
        Difference with its score interval, and two one-sided chances.

    Raises
    ------
    OutOfRangeError
        If a count is negative, or the coverage not between 0 and 1.

    Notes
    -----
    A negative difference is no proof of cleaning and never becomes zero: report the interval.
    Above 20 000 counts both chances are the exact one; they hardly differ there.

    References
    ----------
    .. [1] J. Przyborowski and H. Wilenski, Biometrika 31, 313 (1940), for the exact chance.
    .. [2] K. Krishnamoorthy and J. Thomson, J. Stat. Plan. Inference 119, 23 (2004), for the other.

    Examples
    --------
    >>> found = adders(3, 9)
    >>> found.difference, round(found.lower, 4), round(found.upper, 4), round(found.chance, 6)
    (6, -0.9344, 14.4461, 0.072998)
    """
    _require_count("adders", min(before, after), coverage)
    z = float(ndtri((1 + coverage) / 2))
    reach = 5 + 2 * z * z + 2 * z * sqrt(before + after + 1)
    chance = float(binom.sf(after - 1, before + after, EQUAL))
    sharp = chance
    if before + after <= MANY:
        sharp = float(poisson_means_test(after, 1, before, 1, alternative="greater").pvalue)
    return Adders(
        difference=after - before,
        lower=_score_end(before, after, z, -reach),
        upper=_score_end(before, after, -z, reach),
        chance=chance,
        chance_sharp=sharp,
    )


def dispersion(counts: ArrayLike) -> tuple[float, float]:
    r"""Whether counts scatter more than chance alone would have them.

    .. math:: D = \sum \frac{(x_i - \bar x)^2}{\bar x}

    Parameters
    ----------
    counts : array_like
        Counts of like pieces, two or more, not all zero. [1]

    Returns
    -------
    tuple of float
        Index of dispersion D, and the probability of as much by chance alone. [1]

    Raises
    ------
    OutOfRangeError
        If there are fewer than two counts, one is negative, or all are zero.

    Notes
    -----
    When the probability is small, intervals for Poisson counts are too narrow.

    References
    ----------
    .. [1] R. A. Fisher, Statistical Methods for Research Workers (1925) (from memory).

    Examples
    --------
    >>> index, chance = dispersion([3, 1, 0, 2, 7, 0, 1, 4])
    >>> round(index, 4), round(chance, 5)
    (17.5556, 0.01414)
    """
    x = np.asarray(counts, dtype=np.float64)
    require(
        x.size >= 2 and bool(np.all(x >= 0)) and float(x.sum()) > 0,
        "these counts have no dispersion",
        where="dispersion",
        mend="Give two or more counts, of which one is not zero.",
    )
    index = float(np.sum((x - x.mean()) ** 2) / x.mean())
    return index, float(chdtrc(x.size - 1, index))


def excess_zeros(counts: ArrayLike) -> tuple[float, float]:
    r"""Whether more counts are zero than chance alone would have them.

    .. math:: S = \frac{(n_0/p_0 - n)^2}{n\,(1 - p_0)/p_0 - n \bar x}, \qquad p_0 = e^{-\bar x}

    Parameters
    ----------
    counts : array_like
        Counts of like pieces, two or more, not all zero. [1]

    Returns
    -------
    tuple of float
        Score S, and the probability of as much by chance alone. [1]

    Raises
    ------
    OutOfRangeError
        If there are fewer than two counts, one is negative, or all are zero.

    Notes
    -----
    Mere scatter beyond chance shows here as well: look for a mechanism before believing in zeros.

    References
    ----------
    .. [1] J. van den Broek, "A score test for zero inflation in a Poisson distribution,"
       Biometrics 51, 738-743 (1995).

    Examples
    --------
    >>> score, chance = excess_zeros([0] * 18 + [1] * 3 + [2] * 2 + [5] * 2)
    >>> round(score, 4), round(chance, 6)
    (15.0915, 0.000102)
    """
    x = np.asarray(counts, dtype=np.float64)
    require(
        x.size >= 2 and bool(np.all(x >= 0)) and float(x.sum()) > 0,
        "these counts have no zeros to judge",
        where="excess_zeros",
        mend="Give two or more counts, of which one is not zero.",
    )
    n, mean = x.size, float(x.mean())
    none = exp(-mean)
    score = (np.count_nonzero(x == 0) / none - n) ** 2 / (n * (1 - none) / none - n * mean)
    return float(score), float(chdtrc(1, score))


def counting_limits(background: float) -> tuple[float, float]:
    r"""Decision limit and detection limit of a count beside an equal background count.

    .. math:: L_C = 2.33 \sqrt{B}, \qquad L_D = 2.71 + 4.65 \sqrt{B}

    Parameters
    ----------
    background : float
        Expected background count B, zero or more. [1]

    Returns
    -------
    tuple of float
        Net count above which something was added, and the smallest that is hardly ever missed,
        both at 5 % risk. [1]

    Raises
    ------
    OutOfRangeError
        If the background is negative.

    References
    ----------
    .. [1] L. A. Currie, "Limits for qualitative detection and quantitative determination,"
       Anal. Chem. 40, 586-593 (1968).

    Examples
    --------
    >>> critical, detectable = counting_limits(10.0)
    >>> round(critical, 2), round(detectable, 2)
    (7.36, 17.42)
    """
    require(
        background >= 0,
        f"a background of {background:g} counts makes no sense",
        where="counting_limits",
        mend="Give a background of zero or more.",
    )
    k = float(ndtri(0.95))
    critical = k * sqrt(2 * background)
    return critical, k * k + 2 * critical


def _require_count(where: str, count: int, coverage: float) -> None:
    require(
        count >= 0 and 0 < coverage < 1,
        f"a count of {count} at {coverage:g} makes no sense",
        where=where,
        mend="Give a count of zero or more, and a probability between 0 and 1.",
    )


def _score_end(before: int, after: int, z: float, side: float) -> float:
    """Find the difference whose score is z, between the observed one and far on its side."""

    def excess(difference: float) -> float:
        half = before + after - 2 * difference
        likely = (half + sqrt(max(half * half + 8 * before * difference, 0.0))) / 4
        spread = 2 * max(likely, -difference, 0.0) + difference
        return (after - before - difference) / sqrt(spread) - z if spread > 0 else -z

    observed = float(after - before)
    return float(brentq(excess, observed, observed + side, xtol=1e-9))
