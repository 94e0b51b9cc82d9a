"""Uncertainty budgets: from what is known of the inputs to the uncertainty of a result."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from spinproof.stats.correlation import Correlations, correlation_matrix
from spinproof.stats.distributions import Distribution
from spinproof.stats.sensitivity import Model, curvature_variance, sensitivities
from spinproof.stats.validity import require


@dataclass(frozen=True)
class Input:
    """One input of a measurement model."""

    name: str
    distribution: Distribution
    reliability: float | None = None
    """Degrees of freedom of its uncertainty, where they differ from the distribution's own. [1]"""

    @property
    def degrees(self) -> float:
        """Degrees of freedom of its uncertainty [1]."""
        return self.distribution.degrees if self.reliability is None else self.reliability


@dataclass(frozen=True)
class Contribution:
    """One line of a budget."""

    name: str
    value: float
    uncertainty: float
    degrees: float
    sensitivity: float
    share: float
    """Share of the result's variance that comes from this input alone. [1]"""

    @property
    def contribution(self) -> float:
        """Standard uncertainty of the result from this input alone [unit of the result]."""
        return abs(self.sensitivity) * self.uncertainty


@dataclass(frozen=True)
class Budget:
    """A result with its standard uncertainty, and where that comes from."""

    value: float
    uncertainty: float
    degrees: float
    """Effective degrees of freedom. [1]"""
    contributions: tuple[Contribution, ...]
    correlation_share: float
    """Share of the variance that correlations add or take away. [1]"""
    curvature_share: float
    """Share of the variance that the curvature of the model adds or takes away. [1]"""

    def expanded(self, coverage: float = 0.95) -> float:
        """Give the expanded uncertainty U = k u for a coverage probability [unit of the result]."""
        return coverage_factor(coverage, self.degrees) * self.uncertainty

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Give the coverage interval value ± U [unit of the result]."""
        reach = self.expanded(coverage)
        return self.value - reach, self.value + reach


def budget(
    model: Model,
    inputs: Sequence[Input],
    correlations: Correlations | None = None,
    *,
    slopes: Sequence[float] | None = None,
    curved: bool = False,
) -> Budget:
    r"""Budget of a result by the law of propagation of uncertainty.

    .. math:: u_c^2 = \sum_i (c_i u_i)^2 + 2 \sum_{i<j} c_i c_j r_{ij} u_i u_j

    Parameters
    ----------
    model : callable
        The measurement model; takes the inputs in order and gives the result.
    inputs : sequence of Input
        What is known of each input.
    correlations : mapping of pairs of names to float, optional
        Correlation coefficients r of the inputs that have one. [1]
    slopes : sequence of float, optional
        Sensitivities c, where they are known; otherwise differences of the model give them.
    curved : bool
        Whether the terms of the next order are added; only for uncorrelated inputs.

    Returns
    -------
    Budget
        Result, standard uncertainty, effective degrees of freedom, and a line for each input.

    Raises
    ------
    OutOfRangeError
        If there are no inputs, the correlations make no sense or stand beside ``curved``, the
        slopes do not match the inputs, or the model gives no finite number.

    Notes
    -----
    Between correlated inputs the effective degrees of freedom are the fewest of any input that
    counts (conservative; common practice, no source). Where the model is strongly curved over the
    inputs' uncertainties, or an input that is far from normal dominates,
    :func:`spinproof.stats.monte_carlo.simulate` is the better answer.

    References
    ----------
    .. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5 and annex G.

    Examples
    --------
    >>> from spinproof.stats.distributions import Gaussian, Rectangular
    >>> length = Input("length", Gaussian(2.0, 0.003))
    >>> width = Input("width", Rectangular(2.9, 3.1))
    >>> area = budget(lambda a, b: a * b, [length, width])
    >>> area.value, round(area.uncertainty, 5), round(area.contributions[1].share, 4)
    (6.0, 0.11582, 0.994)
    """
    values = [float(each.distribution.value) for each in inputs]
    u = np.array([each.distribution.uncertainty for each in inputs])
    matrix = correlation_matrix([each.name for each in inputs], correlations)
    tied = bool(np.any(matrix != np.eye(len(inputs))))
    require(
        not (curved and tied) and (slopes is None or len(slopes) == len(u)),
        "these inputs make no budget",
        where="budget",
        mend="Give one slope for each input, and no correlations beside the curvature.",
    )
    c = sensitivities(model, values, u) if slopes is None else np.asarray(slopes, np.float64)
    parts = c * u
    plain = float(parts @ parts)
    first = max(float(parts @ matrix @ parts), 0.0)
    variance = first + (curvature_variance(model, values, u) if curved else 0.0)
    lines = [
        Contribution(
            name=each.name,
            value=values[k],
            uncertainty=float(u[k]),
            degrees=each.degrees,
            sensitivity=float(c[k]),
            share=_share(float(parts[k] ** 2), variance),
        )
        for k, each in enumerate(inputs)
    ]
    return Budget(
        value=float(model(*values)),
        uncertainty=sqrt(max(variance, 0.0)),
        degrees=_degrees(lines, first, matrix),
        contributions=tuple(lines),
        correlation_share=_share(first - plain, variance),
        curvature_share=_share(variance - first, variance),
    )


def joint_covariance(
    models: Sequence[Model], inputs: Sequence[Input], correlations: Correlations | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    r"""Results that share their inputs, and how they vary together.

    .. math:: U_y = C\,U_x\,C^\mathsf{T}

    Parameters
    ----------
    models : sequence of callable
        One measurement model for each result, all of the same inputs in the same order.
    inputs : sequence of Input
        What is known of each input.
    correlations : mapping of pairs of names to float, optional
        Correlation coefficients of the inputs that have one. [1]

    Returns
    -------
    tuple of ndarray
        The results, and the covariance matrix of the results.

    Raises
    ------
    OutOfRangeError
        If the correlations make no sense, or a model gives no finite number.

    References
    ----------
    .. [1] JCGM 100:2008, H.2.3; JCGM 102:2011, 6.2.

    Examples
    --------
    >>> from spinproof.stats.distributions import Gaussian
    >>> ab = [Input("a", Gaussian(1.0, 0.3)), Input("b", Gaussian(2.0, 0.4))]
    >>> values, covariance = joint_covariance([lambda a, b: a + b, lambda a, b: a - b], ab)
    >>> values.tolist(), covariance.round(6).tolist()
    ([3.0, -1.0], [[0.25, -0.07], [-0.07, 0.25]])
    """
    estimates = [each.distribution.value for each in inputs]
    u = np.array([each.distribution.uncertainty for each in inputs])
    matrix = correlation_matrix([each.name for each in inputs], correlations)
    slopes = np.array([sensitivities(model, estimates, u) for model in models])
    spread = matrix * np.outer(u, u)
    return np.array([float(m(*estimates)) for m in models]), slopes @ spread @ slopes.T


def effective_degrees(uncertainty: float, contributions: ArrayLike, degrees: ArrayLike) -> float:
    r"""Effective degrees of freedom of a combined standard uncertainty.

    .. math:: \nu_\mathrm{eff} = \frac{u_c^4}{\sum_i (c_i u_i)^4 / \nu_i}

    Parameters
    ----------
    uncertainty : float
        Combined standard uncertainty. [unit of the result]
    contributions : array_like
        Contributions c u of the inputs. [unit of the result]
    degrees : array_like
        Degrees of freedom ν of each, above zero; infinite where the uncertainty is known. [1]

    Returns
    -------
    float
        Degrees of freedom, infinite when all are. [1]

    Raises
    ------
    OutOfRangeError
        If a number of degrees is not above zero.

    Notes
    -----
    Holds for independent inputs.

    References
    ----------
    .. [1] B. L. Welch (1947) and F. E. Satterthwaite (1946), as in JCGM 100:2008, G.4.1.

    Examples
    --------
    >>> round(effective_degrees(1.0295, [0.25, 0.57, 0.82], [9, 4, 14]), 2)
    19.0
    """
    nu = np.asarray(degrees, dtype=np.float64)
    require(
        bool(np.all(nu > 0)),
        "a number of degrees of freedom is not above zero",
        where="effective_degrees",
        mend="Give degrees of freedom above zero, infinite for what is exactly known.",
    )
    spent = float(np.sum(np.asarray(contributions, dtype=np.float64) ** 4 / nu))
    return inf if spent == 0 else float(uncertainty) ** 4 / spent


def coverage_factor(coverage: float, degrees: float = inf) -> float:
    """Coverage factor k for a coverage probability.

    Parameters
    ----------
    coverage : float
        Coverage probability, between 0 and 1. [1]
    degrees : float
        Effective degrees of freedom; cut to the next whole number below. [1]

    Returns
    -------
    float
        Quantile of Student's t, of the normal distribution for infinite degrees. [1]

    Raises
    ------
    OutOfRangeError
        If the coverage is not between 0 and 1, or the degrees are not above zero.

    References
    ----------
    .. [1] JCGM 100:2008, G.3 and G.4.1, note 1.

    Examples
    --------
    >>> round(coverage_factor(0.99, 16.75), 4)
    2.9208
    """
    require(
        0 < coverage < 1 and degrees > 0,
        f"a coverage of {coverage:g} with {degrees:g} degrees of freedom has no factor",
        where="coverage_factor",
        mend="Give a coverage between 0 and 1, and degrees of freedom above zero.",
    )
    below = (1 + coverage) / 2
    if not isfinite(degrees):
        return float(ndtri(below))
    return float(stdtrit(floor(degrees) if degrees >= 1 else degrees, below))


def _degrees(lines: Sequence[Contribution], variance: float, matrix: NDArray[np.float64]) -> float:
    """Give the effective degrees; with correlated inputs the fewest of any input that counts."""
    counting = [line.degrees for line in lines if line.contribution > 0]
    if np.any(matrix != np.eye(len(lines))) and any(map(isfinite, counting)):
        return min(counting)
    parts = [line.contribution for line in lines]
    return effective_degrees(sqrt(variance), parts, [line.degrees for line in lines])


def _share(part: float, variance: float) -> float:
    return part / variance if variance > 0 else 0.0
