"""What restarts, doubt about independence and missed failures do to a demonstrated reliability."""

import math

from spinproof.stats.validity import require


def chance_within_attempts(reliability: float, runs: int, attempts: int) -> float:
    r"""Chance that a head passes a clean demonstration within some attempts.

    .. math:: 1 - (1 - R^n)^k

    Parameters
    ----------
    reliability : float
        Probability R of a good run, 0 to 1. [1]
    runs : int
        Number n of runs that must all be good. [1]
    attempts : int
        Number k of attempts allowed, each from the first run anew. [1]

    Returns
    -------
    float
        The chance. [1]

    Raises
    ------
    OutOfRangeError
        If the reliability lies outside 0 to 1, or there are no runs or attempts.

    Examples
    --------
    >>> round(chance_within_attempts(0.95, 59, 3), 4)
    0.1385
    """
    require(
        0 <= reliability <= 1 and runs >= 1 and attempts >= 1,
        f"{attempts} attempts of {runs} runs at reliability {reliability:g} make no sense",
        where="chance_within_attempts",
        mend="Give a reliability in 0 to 1, and at least one run and one attempt.",
    )
    return (
        float(-math.expm1(attempts * math.log1p(-(reliability**runs)))) if reliability < 1 else 1.0
    )


def runs_for_attempts(reliability: float, confidence: float, attempts: int) -> int:
    r"""Clean runs in a row that keep the confidence although several attempts are allowed.

    .. math:: n = \lceil \ln(1 - C^{1/k}) / \ln R \rceil

    Parameters
    ----------
    reliability : float
        Probability R of a good run to demonstrate, between 0 and 1. [1]
    confidence : float
        Confidence C of the statement over all attempts, between 0 and 1. [1]
    attempts : int
        Number k of attempts that are allowed from the outset. [1]

    Returns
    -------
    int
        Number of runs of the attempt that passes. [1]

    Raises
    ------
    OutOfRangeError
        If reliability or confidence lie outside 0 to 1, or there is no attempt.

    Examples
    --------
    >>> [runs_for_attempts(0.95, 0.95, k) for k in (1, 2, 3)]
    [59, 72, 80]
    """
    require(
        0 < reliability < 1 and 0 < confidence < 1 and attempts >= 1,
        f"no number of runs shows {reliability:g} at {confidence:g} in {attempts} attempts",
        where="runs_for_attempts",
        mend="Give reliability and confidence between 0 and 1, and at least one attempt.",
    )
    risk_of_one = -math.expm1(math.log(confidence) / attempts)
    return math.ceil(math.log(risk_of_one) / math.log(reliability))


def bound_after_attempts(runs: int, confidence: float, attempts: int) -> float:
    r"""Lower bound from clean runs in a row, when the count was begun more than once.

    .. math:: R_L = (1 - C^{1/k})^{1/n}

    Parameters
    ----------
    runs : int
        Number n of clean runs of the last attempt. [1]
    confidence : float
        Confidence C of the statement over all attempts, between 0 and 1. [1]
    attempts : int
        Number k of attempts that were begun, the last included. [1]

    Returns
    -------
    float
        The bound; with one attempt it is that of Clopper and Pearson. [1]

    Raises
    ------
    OutOfRangeError
        If there are no runs or attempts, or the confidence lies outside 0 to 1.

    Examples
    --------
    >>> round(bound_after_attempts(72, 0.95, 2), 4)
    0.9502
    """
    require(
        runs >= 1 and 0 < confidence < 1 and attempts >= 1,
        f"{runs} runs in attempt {attempts} at confidence {confidence:g} make no sense",
        where="bound_after_attempts",
        mend="Give at least one run and one attempt, and a confidence between 0 and 1.",
    )
    return float((-math.expm1(math.log(confidence) / attempts)) ** (1 / runs))


def expected_runs_until_clean(reliability: float, runs: int) -> float:
    r"""Mean number of runs made until so many good ones stand in a row.

    .. math:: (1 - R^n) / ((1 - R) R^n)

    Parameters
    ----------
    reliability : float
        Probability R of a good run, above 0 and up to 1. [1]
    runs : int
        Number n of good runs wanted in a row. [1]

    Returns
    -------
    float
        Mean number of runs, all attempts together. [1]

    Raises
    ------
    OutOfRangeError
        If the reliability is not above 0 and up to 1, or no run is wanted.

    References
    ----------
    .. [1] W. Feller, An Introduction to Probability Theory and Its Applications, vol. 1, 3rd
       ed., XIII.7 (success runs; cited from memory).

    Examples
    --------
    >>> round(expected_runs_until_clean(0.98, 56), 1)
    105.0
    """
    require(
        0 < reliability <= 1 and runs >= 1,
        f"{runs} good runs in a row at reliability {reliability:g} make no sense",
        where="expected_runs_until_clean",
        mend="Give a reliability above 0 and up to 1, and at least one run.",
    )
    if reliability == 1:
        return float(runs)
    clean = reliability**runs
    return (1 - clean) / ((1 - reliability) * clean)


def effective_runs(runs: int, correlation: float) -> float:
    r"""Give how many independent runs tell as much as runs that resemble one another.

    .. math:: n_{eff} = n / (1 + (n - 1) \rho)

    Parameters
    ----------
    runs : int
        Number n of runs. [1]
    correlation : float
        Correlation rho of any two runs, 0 to 1; one clean burn-in cannot estimate it. [1]

    Returns
    -------
    float
        Effective number of runs. [1]

    Raises
    ------
    OutOfRangeError
        If there is no run, or the correlation lies outside 0 to 1.

    Notes
    -----
    Working correction of the beta-binomial model: common practice, no source.

    Examples
    --------
    >>> round(effective_runs(56, 0.02), 2)
    26.67
    """
    require(
        runs >= 1 and 0 <= correlation <= 1,
        f"{runs} runs with correlation {correlation:g} make no sense",
        where="effective_runs",
        mend="Give at least one run and a correlation in 0 to 1.",
    )
    return runs / (1 + (runs - 1) * correlation)


def clean_bound(runs: float, confidence: float, sensitivity: float = 1.0) -> float:
    r"""Lower bound from clean runs that need not be whole, or whose failures may be missed.

    .. math:: R_L = 1 - (1 - (1 - C)^{1/n}) / S

    Parameters
    ----------
    runs : float
        Number n of clean runs, effective ones for example. [1]
    confidence : float
        Confidence C of the statement, between 0 and 1. [1]
    sensitivity : float
        Chance S that a bad run is seen to be bad, above 0 and up to 1. [1]

    Returns
    -------
    float
        The bound, never below 0. [1]

    Raises
    ------
    OutOfRangeError
        If runs, confidence or sensitivity lie outside their ranges.

    Examples
    --------
    >>> round(clean_bound(56, 0.95, 0.9), 5)
    0.94212
    """
    require(
        runs > 0 and 0 < confidence < 1 and 0 < sensitivity <= 1,
        f"{runs:g} clean runs, confidence {confidence:g}, sensitivity {sensitivity:g}: no bound",
        where="clean_bound",
        mend="Give runs above 0, a confidence between 0 and 1, a sensitivity above 0 and up to 1.",
    )
    apparent = float((1 - confidence) ** (1 / runs))
    return max(0.0, 1 - (1 - apparent) / sensitivity)
