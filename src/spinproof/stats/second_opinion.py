"""A Bayesian second opinion on the probability of a good run, its prior always named."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, betaln

from spinproof.stats.validity import require


@dataclass(frozen=True)
class Prior:
    """A beta prior on the probability of a good run.

    Attributes
    ----------
    name : str
        Where it comes from; an informative prior names its data.
    good : float
        Its first parameter. [1]
    bad : float
        Its second parameter. [1]
    """

    name: str
    good: float
    bad: float


JEFFREYS = Prior("Jeffreys", 0.5, 0.5)
UNIFORM = Prior("uniform", 1.0, 1.0)


def credible_bound(runs: int, failures: int, probability: float, prior: Prior = JEFFREYS) -> float:
    """Lower bound on the probability of a good run that the posterior exceeds.

    Parameters
    ----------
    runs : int
        Number of runs that were judged. [1]
    failures : int
        Number of them that failed. [1]
    probability : float
        Posterior probability that the truth lies above the bound, between 0 and 1. [1]
    prior : Prior
        Belief before the runs.

    Returns
    -------
    float
        The bound. [1]

    Raises
    ------
    OutOfRangeError
        If the numbers make no sense, or the prior is no beta distribution.

    Examples
    --------
    >>> round(credible_bound(50, 0, 0.95), 6)
    0.962499
    """
    _require(runs, failures, prior, "credible_bound")
    require(
        0 < probability < 1,
        f"a probability of {probability:g} gives no bound",
        where="credible_bound",
        mend="Give a probability between 0 and 1, for example 0.95.",
    )
    return float(betaincinv(prior.good + runs - failures, prior.bad + failures, 1 - probability))


def chance_of_further_clean_runs(
    runs: int, failures: int, further: int, prior: Prior = JEFFREYS
) -> float:
    """Predictive chance that so many further runs are all good.

    Parameters
    ----------
    runs : int
        Number of runs that were judged. [1]
    failures : int
        Number of them that failed. [1]
    further : int
        Number of further runs. [1]
    prior : Prior
        Belief before the runs.

    Returns
    -------
    float
        The chance. [1]

    Raises
    ------
    OutOfRangeError
        If the numbers make no sense, or the prior is no beta distribution.

    Examples
    --------
    >>> round(chance_of_further_clean_runs(50, 0, 1, UNIFORM), 6)
    0.980769
    """
    _require(runs, failures, prior, "chance_of_further_clean_runs")
    require(
        further >= 0,
        f"{further} further runs make no sense",
        where="chance_of_further_clean_runs",
        mend="Give no negative number of further runs.",
    )
    good, bad = prior.good + runs - failures, prior.bad + failures
    return float(np.exp(betaln(good + further, bad) - betaln(good, bad)))


def _require(runs: int, failures: int, prior: Prior, where: str) -> None:
    require(
        0 <= failures <= runs and prior.good > 0 and prior.bad > 0,
        f"{failures} failures in {runs} runs with prior beta({prior.good:g}, {prior.bad:g})",
        where=where,
        mend="Give no more failures than runs, and a prior with parameters above 0.",
    )
