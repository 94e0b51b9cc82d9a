"""Propagation of distributions: what a result can be, by drawing its inputs many times."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.stats.correlation import Correlations, correlation_matrix
from spinproof.stats.distributions import Gaussian
from spinproof.stats.sensitivity import Model
from spinproof.stats.uncertainty import Budget, Input
from spinproof.stats.validity import require

LEAST_BATCHES = 10
"""Batches before a simulation may stop: with fewer, their scatter is small by luck too often."""

Ends = tuple[float, float]
"""Lower and upper end of a coverage interval. [unit]"""


@dataclass(frozen=True)
class Simulation:
    """A result by propagation of distributions."""

    value: float
    uncertainty: float
    coverage: float
    """Coverage probability of the intervals. [1]"""
    symmetric: Ends
    """Interval with equal probability beyond both ends."""
    shortest: Ends
    """Interval that is as short as any with that coverage."""
    trials: int
    tolerance: float
    """Numerical tolerance that was asked of value, uncertainty and symmetric ends. [unit]"""
    settled: bool
    """Whether the numbers are stable within the tolerance."""


def simulate(
    model: Model,
    inputs: Sequence[Input],
    generator: np.random.Generator,
    *,
    correlations: Correlations | None = None,
    coverage: float = 0.95,
    digits: int = 2,
    most_trials: int = 10_000_000,
) -> Simulation:
    """Propagate distributions through a model until the result is stable.

    Parameters
    ----------
    model : callable
        The measurement model; takes one array for each input in order and gives an array.
    inputs : sequence of Input
        What is known of each input.
    generator : numpy.random.Generator
        Source of the draws, seeded by the caller: the same seed gives the same numbers.
    correlations : mapping of pairs of names to float, optional
        Correlation coefficients; those inputs must be Gaussian. [1]
    coverage : float
        Coverage probability of the intervals, between 0 and 1. [1]
    digits : int
        Significant digits of the uncertainty that must be stable, one or more. [1]
    most_trials : int
        Number of trials after which to stop all the same. [1]

    Returns
    -------
    Simulation
        Value, standard uncertainty and coverage intervals; ``settled`` tells whether they are
        stable.

    Raises
    ------
    OutOfRangeError
        If there are no inputs, an option makes no sense, a correlated input is not Gaussian, or
        the model gives something else than finite numbers for some of the draws.

    Notes
    -----
    Batches of at least 10 000 trials; stable when twice the standard deviation of the mean over the
    batches is within the tolerance for all four numbers. The guide lets two batches do; ten are
    asked here, because the scatter of two or three is small by luck too often.

    References
    ----------
    .. [1] JCGM 101:2008, Propagation of distributions using a Monte Carlo method, 7.9.
    .. [2] G. Wübbeler, P. M. Harris, M. G. Cox and C. Elster, "A two-stage procedure for
       determining the number of trials in the application of a Monte Carlo method for uncertainty
       evaluation," Metrologia 47, 317-324 (2010).

    Examples
    --------
    >>> from spinproof.stats.distributions import Rectangular
    >>> pair = [Input("a", Rectangular(-1.0, 1.0)), Input("b", Rectangular(-1.0, 1.0))]
    >>> result = simulate(lambda a, b: a + b, pair, np.random.default_rng(1))
    >>> round(result.uncertainty, 2), result.settled
    (0.82, True)
    """
    require(
        0 < coverage < 1 and digits >= 1 and most_trials >= 1,
        "this simulation cannot be run",
        where="simulate",
        mend="Give a coverage between 0 and 1, one digit or more, and a number of trials.",
    )
    tied, root = _tied(inputs, correlations)
    batch = max(ceil(round(100 / (1 - coverage), 6)), 10_000)
    results: list[NDArray[np.float64]] = []
    marks: list[tuple[float, float, float, float]] = []
    settled, tolerance = False, 0.0
    while not settled and len(results) * batch < most_trials:
        drawn = [each.distribution.draw(generator, batch) for each in inputs]
        _tie(inputs, drawn, tied, root)
        results.append(_results(model, drawn, batch))
        symmetric, _ = coverage_intervals(results[-1], coverage)
        marks.append((float(results[-1].mean()), float(results[-1].std(ddof=1)), *symmetric))
        tolerance = numerical_tolerance(_pooled(marks, batch), digits)
        settled = len(marks) >= LEAST_BATCHES and _unrest(marks) <= tolerance
    everything = np.concatenate(results)
    symmetric, shortest = coverage_intervals(everything, coverage)
    return Simulation(
        value=float(everything.mean()),
        uncertainty=float(everything.std(ddof=1)),
        coverage=coverage,
        symmetric=symmetric,
        shortest=shortest,
        trials=everything.size,
        tolerance=tolerance,
        settled=settled,
    )


def coverage_intervals(values: ArrayLike, coverage: float) -> tuple[Ends, Ends]:
    """Coverage intervals of a sample of results.

    Parameters
    ----------
    values : array_like
        Results of the trials. [unit]
    coverage : float
        Coverage probability, between 0 and 1. [1]

    Returns
    -------
    tuple
        The probabilistically symmetric and the shortest interval. [unit]

    Raises
    ------
    OutOfRangeError
        If the coverage is not between 0 and 1, or there are too few values for it.

    References
    ----------
    .. [1] JCGM 101:2008, 7.7.

    Examples
    --------
    >>> coverage_intervals([0.0, 1.0, 2.0, 3.0, 10.0, 30.0, 60.0, 90.0, 120.0, 500.0], 0.5)
    ((2.0, 90.0), (0.0, 30.0))
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    require(
        0 < coverage < 1 and 1 <= int(coverage * ordered.size + 0.5) < ordered.size,
        f"{ordered.size} values give no interval of coverage {coverage:g}",
        where="coverage_intervals",
        mend="Give a coverage between 0 and 1, and more values.",
    )
    inside = int(coverage * ordered.size + 0.5)
    start = (ordered.size - inside + 1) // 2 - 1
    lengths = ordered[inside:] - ordered[:-inside]
    best = int(np.argmin(lengths))
    return (
        (float(ordered[start]), float(ordered[start + inside])),
        (float(ordered[best]), float(ordered[best + inside])),
    )


def numerical_tolerance(uncertainty: float, digits: int) -> float:
    r"""Half a unit of the last significant digit of an uncertainty.

    .. math:: u = c \times 10^l, \qquad \delta = \tfrac12\,10^l

    Parameters
    ----------
    uncertainty : float
        Standard uncertainty u, zero or more. [unit]
    digits : int
        Number of significant digits in c, one or more. [1]

    Returns
    -------
    float
        The tolerance δ; zero for no uncertainty. [unit]

    Raises
    ------
    OutOfRangeError
        If the uncertainty is negative or not finite, or there are no digits.

    References
    ----------
    .. [1] JCGM 101:2008, 7.9.2.

    Examples
    --------
    >>> numerical_tolerance(2.0, 2), numerical_tolerance(2.0, 1)
    (0.05, 0.5)
    """
    require(
        0 <= uncertainty < np.inf and digits >= 1,
        f"{uncertainty:g} has no {digits} significant digits",
        where="numerical_tolerance",
        mend="Give a finite uncertainty of zero or more, and one digit or more.",
    )
    if uncertainty == 0:
        return 0.0
    exponent = int(f"{uncertainty:.{digits - 1}e}".split("e")[1]) - (digits - 1)
    return float(f"0.5e{exponent}")


def budget_holds(budget: Budget, simulation: Simulation, digits: int = 1) -> bool:
    """Tell whether a simulation confirms a budget.

    Parameters
    ----------
    budget : Budget
        Result by the law of propagation.
    simulation : Simulation
        Result by propagation of distributions, of the same model and inputs.
    digits : int
        Significant digits of the uncertainty in which both must agree. [1]

    Returns
    -------
    bool
        Whether both ends of the budget's interval agree with the symmetric one of the simulation.

    Raises
    ------
    OutOfRangeError
        If there are no digits.

    References
    ----------
    .. [1] JCGM 101:2008, 8.1.

    Examples
    --------
    >>> from spinproof.stats.distributions import Gaussian
    >>> from spinproof.stats.uncertainty import budget
    >>> x = [Input("x", Gaussian(0.0, 1.0))]
    >>> drawn = simulate(lambda x: x**2, x, np.random.default_rng(1), digits=1)
    >>> budget_holds(budget(lambda x: x**2, x), drawn)
    False
    """
    tolerance = numerical_tolerance(simulation.uncertainty, digits)
    ends = zip(budget.interval(simulation.coverage), simulation.symmetric, strict=True)
    return all(abs(ours - theirs) <= tolerance for ours, theirs in ends)


def _tied(
    inputs: Sequence[Input], correlations: Correlations | None
) -> tuple[list[int], NDArray[np.float64]]:
    """Find the correlated inputs, and a square root of the matrix of their coefficients."""
    matrix = correlation_matrix([each.name for each in inputs], correlations)
    tied = np.flatnonzero(np.any(matrix != np.eye(len(inputs)), axis=1)).tolist()
    strange = [k for k in tied if not isinstance(inputs[k].distribution, Gaussian)]
    require(
        not strange,
        f"{', '.join(inputs[k].name for k in strange)}: correlated, but not Gaussian",
        where="simulate",
        mend="Make them Gaussian, or model what correlates them as an input of its own.",
    )
    sizes, axes = np.linalg.eigh(matrix[np.ix_(tied, tied)])
    return tied, np.asarray(axes * np.sqrt(np.maximum(sizes, 0.0)))


def _tie(
    inputs: Sequence[Input],
    drawn: list[NDArray[np.float64]],
    tied: list[int],
    root: NDArray[np.float64],
) -> None:
    """Correlate the draws of the tied inputs, in place."""
    known = [inputs[k].distribution for k in tied]
    plain = [
        (drawn[k] - each.value) / (each.uncertainty or 1.0)
        for k, each in zip(tied, known, strict=True)
    ]
    for k, each, row in zip(tied, known, root, strict=True):
        drawn[k] = each.value + each.uncertainty * np.asarray(row @ np.array(plain))


def _results(model: Model, drawn: list[NDArray[np.float64]], size: int) -> NDArray[np.float64]:
    with np.errstate(all="ignore"):  # what is not finite is counted below
        results = np.broadcast_to(np.asarray(model(*drawn), dtype=np.float64), (size,))
    wrong = int(np.count_nonzero(~np.isfinite(results)))
    require(
        wrong == 0,
        f"the model gives no finite number for {wrong} of {size} draws",
        where="simulate",
        mend="Keep the inputs inside the model's range, or bound their distributions.",
    )
    return results


def _pooled(marks: Sequence[tuple[float, ...]], size: int) -> float:
    """Give the standard deviation of all trials, from the means and deviations of the batches."""
    means, deviations = np.array(marks)[:, :2].T
    within = (size - 1) * float(deviations @ deviations)
    between = size * float(np.sum((means - means.mean()) ** 2))
    return sqrt((within + between) / (size * len(marks) - 1))


def _unrest(marks: Sequence[tuple[float, ...]]) -> float:
    """Give twice the largest standard deviation of the mean over the batches."""
    table = np.array(marks)
    return float(2 * table.std(axis=0, ddof=1).max() / sqrt(len(marks)))
