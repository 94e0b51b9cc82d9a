"""Spare parts: how many to hold so that they suffice with a probability."""

from scipy.stats import nbinom, poisson

from spinproof.stats.validity import require


def spares_for_rate(demand: float, probability: float) -> int:
    """Fewest spares that suffice for a known mean demand.

    Parameters
    ----------
    demand : float
        Mean number of parts that will be needed over the horizon, zero or more. [1]
    probability : float
        Probability that the stock suffices, between 0 and 1. [1]

    Returns
    -------
    int
        Number of spares. [1]

    Raises
    ------
    OutOfRangeError
        If the demand is negative, or the probability not between 0 and 1.

    Notes
    -----
    Holds for parts that fail at random, not for those that wear out.

    References
    ----------
    .. [1] Poisson distribution; any textbook of reliability.

    Examples
    --------
    >>> spares_for_rate(2.0, 0.95)
    5
    """
    _require("spares_for_rate", demand, probability)
    return int(poisson.ppf(probability, demand)) if demand > 0 else 0


def spares_for_history(failures: int, exposure: float, horizon: float, probability: float) -> int:
    r"""Fewest spares that suffice when the rate is known only from a few failures.

    .. math:: D \sim \mathrm{NB}\left(r + \tfrac12,\; \frac{T}{T + h}\right)

    Parameters
    ----------
    failures : int
        Number r of parts that failed so far. [1]
    exposure : float
        Time or cycles T in which they did, above zero. [any]
    horizon : float
        Time or cycles h that the stock must last, zero or more. [as exposure]
    probability : float
        Probability that the stock suffices, between 0 and 1. [1]

    Returns
    -------
    int
        Number of spares; more than the mean rate alone would ask. [1]

    Raises
    ------
    OutOfRangeError
        If a number is out of range.

    References
    ----------
    .. [1] Bayes' rule with Jeffreys' prior for a Poisson rate; any textbook of Bayesian statistics.

    Examples
    --------
    >>> spares_for_history(2, 1000.0, 1000.0, 0.95)
    7
    """
    _require("spares_for_history", min(failures, horizon), probability)
    require(
        exposure > 0,
        f"an exposure of {exposure:g} tells no rate",
        where="spares_for_history",
        mend="Give the time or the cycles in which the failures were counted.",
    )
    return int(nbinom.ppf(probability, failures + 0.5, exposure / (exposure + horizon)))


def _require(where: str, demand: float, probability: float) -> None:
    require(
        demand >= 0 and 0 < probability < 1,
        f"a demand of {demand:g} at a probability of {probability:g} has no stock",
        where=where,
        mend="Give numbers of zero or more, and a probability between 0 and 1.",
    )
