"""Risks of decisions: how often wrong items are accepted and good ones refused."""

from dataclasses import dataclass
from itertools import pairwise
from math import inf, pi, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import ndtr

from spinproof.stats.conformance import conformance_probability
from spinproof.stats.decision_rules import EXPANDED_FACTOR, SIMPLE, Interval, Rule
from spinproof.stats.distributions import Gaussian
from spinproof.stats.validity import require

ENOUGH = 4.0
"""Ratio of tolerance to expanded uncertainty below which the risk is told (common practice)."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(60)
FAR = 9.0
"""Standard deviations of the prior beyond which nothing is left to count."""


@dataclass(frozen=True)
class Risks:
    """Joint probabilities for an item drawn from a population, measured and decided."""

    consumer: float
    """Accepted though it does not conform. [1]"""
    producer: float
    """Not accepted though it conforms. [1]"""
    conforming: float
    """Conforms, measured or not. [1]"""

    @property
    def accepted(self) -> float:
        """Probability of acceptance [1]."""
        return self.conforming - self.producer + self.consumer

    @property
    def false_share(self) -> float:
        """Share of the accepted items that do not conform [1]."""
        return self.consumer / self.accepted if self.accepted > 0 else 0.0


def uncertainty_ratio(uncertainty: float, lower: float | None, upper: float | None) -> float | None:
    r"""Tolerance over expanded uncertainty, for two-sided limits.

    .. math:: R = \frac{T_U - T_L}{2 U}, \qquad U = 2 u

    Parameters
    ----------
    uncertainty : float
        Standard uncertainty u, zero or more. [unit]
    lower : float or None
        Lower limit T_L. [unit]
    upper : float or None
        Upper limit T_U. [unit]

    Returns
    -------
    float or None
        The ratio, infinite without uncertainty; None when there is only one limit. [1]

    Raises
    ------
    OutOfRangeError
        If the uncertainty is negative or not a number.

    References
    ----------
    .. [1] ANSI/NCSL Z540.3-2006 defines the ratio so (from memory); four to one is common practice.

    Examples
    --------
    >>> uncertainty_ratio(2.5, 1485.0, 1515.0)
    3.0
    """
    require(
        uncertainty >= 0,
        f"{uncertainty:g} is no standard uncertainty",
        where="uncertainty_ratio",
        mend="Give a standard uncertainty of zero or more.",
    )
    if lower is None or upper is None:
        return None
    if uncertainty == 0:
        return inf
    return (upper - lower) / 2 / (EXPANDED_FACTOR * uncertainty)


def global_risks(
    prior: Gaussian,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
    rule: Rule = SIMPLE,
) -> Risks:
    r"""Risks of measuring and deciding items of one population.

    .. math:: R_C = \int_{\eta \notin T} g_0(\eta)\,
                    P(y \in A \mid \eta)\,d\eta, \qquad
              R_P = \int_{\eta \in T} g_0(\eta)\,P(y \notin A \mid \eta)\,d\eta

    Parameters
    ----------
    prior : Gaussian
        The population: value and standard deviation of its true values, above zero. [unit]
    uncertainty : float
        Standard uncertainty of one measurement, above zero. [unit]
    lower : float or None
        Lower limit. [unit]
    upper : float or None
        Upper limit. [unit]
    rule : Rule
        The decision rule, which gives the acceptance interval A.

    Returns
    -------
    Risks
        Consumer's and producer's risk, and the share that conforms. [1]

    Raises
    ------
    OutOfRangeError
        If the standard deviation or the uncertainty is not above zero.

    Notes
    -----
    What is not accepted counts as rejected, the undecided included.

    References
    ----------
    .. [1] JCGM 106:2012, 9.4 and 9.5 (global consumer's and producer's risk).

    Examples
    --------
    >>> from spinproof.stats.decision_rules import Guarded
    >>> lot = Gaussian(1500.0, 0.12)
    >>> risks = global_risks(lot, 0.04, 1499.8, 1500.2, Guarded(0.5))
    >>> round(risks.consumer, 6), round(risks.producer, 6)
    (0.009878, 0.069027)
    """
    require(
        prior.uncertainty > 0 and 0 < uncertainty < inf,
        f"risks need spread: {prior.uncertainty:g} of the items, {uncertainty:g} of the reading",
        where="global_risks",
        mend="Give a standard deviation and a standard uncertainty above zero.",
    )
    conforming = conformance_probability(prior.value, prior.uncertainty, lower, upper)
    accepted = rule.accepted(uncertainty, lower, upper)
    limits = (-inf if lower is None else lower, inf if upper is None else upper)
    inside, outside = _accepted_shares(prior, uncertainty, limits, accepted)
    return Risks(consumer=outside, producer=max(conforming - inside, 0.0), conforming=conforming)


def risks_at_ratio(ratio: float, conforming: float, rule: Rule = SIMPLE) -> Risks:
    """Risks at a ratio of tolerance to expanded uncertainty, for items centred in two limits.

    Parameters
    ----------
    ratio : float
        Tolerance over expanded uncertainty U = 2 u, above zero. [1]
    conforming : float
        Share of the items that conform before they are measured, between 0 and 1. [1]
    rule : Rule
        The decision rule.

    Returns
    -------
    Risks
        False acceptance, false rejection, and the share that conforms. [1]

    Raises
    ------
    OutOfRangeError
        If the ratio is not above zero, or the share not between 0 and 1.

    References
    ----------
    .. [1] D. Deaver, "How to maintain your confidence," NCSL Workshop and Symposium (1993).

    Examples
    --------
    >>> round(risks_at_ratio(4.0, 0.95).consumer, 5)
    0.00858
    """
    require(
        0 < ratio < inf and 0 < conforming < 1,
        f"a ratio of {ratio:g} with {conforming:g} conforming has no risks",
        where="risks_at_ratio",
        mend="Give a ratio above zero, and a share between 0 and 1.",
    )
    deviation = 1 / NormalDist().inv_cdf((1 + conforming) / 2)
    return global_risks(Gaussian(0.0, deviation), 1 / ratio / EXPANDED_FACTOR, -1.0, 1.0, rule)


def worst_false_acceptance(ratio: float, rule: Rule = SIMPLE) -> float:
    """Largest probability of a false acceptance over all normal populations centred in two limits.

    Parameters
    ----------
    ratio : float
        Tolerance over expanded uncertainty U = 2 u, above zero. [1]
    rule : Rule
        The decision rule.

    Returns
    -------
    float
        Probability, for the population that makes it largest. [1]

    Raises
    ------
    OutOfRangeError
        If the ratio is not above zero.

    References
    ----------
    .. [1] M. Dobbert, "A guard-band strategy for managing false-accept risk," NCSL International
       Workshop and Symposium (2008).

    Examples
    --------
    >>> round(worst_false_acceptance(4.0), 4)
    0.0224
    """
    require(
        0 < ratio < inf,
        f"a ratio of {ratio:g} has no risks",
        where="worst_false_acceptance",
        mend="Give a ratio above zero.",
    )

    def acceptance(conforming: float) -> float:
        return -risks_at_ratio(ratio, conforming, rule).consumer

    found = minimize_scalar(acceptance, bounds=(0.02, 0.9999), method="bounded")
    return -float(found.fun)


def _accepted_shares(
    prior: Gaussian, uncertainty: float, limits: Interval, accepted: Interval
) -> tuple[float, float]:
    """Integrate acceptance over the true values inside and outside the limits."""
    low, high = (prior.value + side * FAR * prior.uncertainty for side in (-1, 1))
    steps = [end + k * uncertainty for end in accepted for k in (-8, -3, 0, 3, 8)]
    cuts = sorted({low, high} | {c for c in [*steps, *limits] if low < c < high})
    inside = outside = 0.0
    for left, right in pairwise(cuts):
        true = left + (right - left) * (NODES + 1) / 2
        density = np.exp(-(((true - prior.value) / prior.uncertainty) ** 2) / 2)
        width = (right - left) / 2 / (prior.uncertainty * sqrt(2 * pi))
        share = width * float(WEIGHTS @ (density * _acceptance(true, uncertainty, accepted)))
        if limits[0] <= (left + right) / 2 <= limits[1]:
            inside += share
        else:
            outside += share
    return inside, outside


def _acceptance(
    true: NDArray[np.float64], uncertainty: float, accepted: Interval
) -> NDArray[np.float64]:
    low, high = accepted
    if low > high:
        return np.zeros_like(true)
    return np.asarray(ndtr((high - true) / uncertainty) - ndtr((low - true) / uncertainty))
