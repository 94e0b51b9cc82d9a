"""What a number of runs demonstrates about the probability of a good run."""

import numpy as np
from scipy.special import betaincinv

from spinproof.model.errors import OutOfRangeError


def reliability_lower_bound(runs: int, failures: int, confidence: float) -> float:
    r"""Lower bound on the probability of a good run, one-sided and exact.

    .. math:: R_L = B^{-1}(1 - C;\; n - f,\; f + 1)

    Parameters
    ----------
    runs : int
        Number n of runs that were attempted and judged. [1]
    failures : int
        Number f of them that failed. [1]
    confidence : float
        Confidence C of the statement, between 0 and 1. [1]

    Returns
    -------
    float
        The bound R_L; 0 when every run failed. [1]

    Raises
    ------
    OutOfRangeError
        If there are no runs, more failures than runs, or a confidence outside 0 to 1.

    Notes
    -----
    Holds for independent runs. Without failures it is ``(1 - C)**(1 / n)``, and then it also
    bounds the mean over runs that differ in recipe and load.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated
       in the case of the binomial," Biometrika 26, 404-413 (1934).

    Examples
    --------
    >>> round(reliability_lower_bound(54, 0, 0.95), 4)
    0.946
    """
    if not (runs >= 1 and 0 <= failures <= runs and 0 < confidence < 1):
        raise OutOfRangeError(
            f"{failures} failures in {runs} runs at confidence {confidence:g} make no sense",
            where="reliability_lower_bound",
            mend="Give at least one run, no more failures than runs, and a confidence in 0 to 1.",
            mask=np.array([True]),
        )
    if failures == runs:
        return 0.0
    return float(betaincinv(runs - failures, failures + 1, 1 - confidence))


def runs_needed(reliability: float, confidence: float, failures: int = 0) -> int:
    """Smallest number of runs that demonstrates a reliability.

    Parameters
    ----------
    reliability : float
        Probability of a good run to demonstrate, between 0 and 1. [1]
    confidence : float
        Confidence of the statement, between 0 and 1. [1]
    failures : int
        Number of failures that the demonstration allows. [1]

    Returns
    -------
    int
        Number of runs. [1]

    Raises
    ------
    OutOfRangeError
        If reliability or confidence lie outside 0 to 1, or failures are negative.

    References
    ----------
    .. [1] ASTM E3291, Standard Guide for Reliability Demonstration Testing.

    Examples
    --------
    >>> runs_needed(0.95, 0.95)
    59
    """
    if not (0 < reliability < 1 and 0 < confidence < 1 and failures >= 0):
        raise OutOfRangeError(
            f"no number of runs shows {reliability:g} at confidence {confidence:g}",
            where="runs_needed",
            mend="Give reliability and confidence between 0 and 1, and no negative failures.",
            mask=np.array([True]),
        )
    few, enough = failures, failures + 1
    while reliability_lower_bound(enough, failures, confidence) < reliability:
        few, enough = enough, 2 * enough
    while enough - few > 1:
        middle = (few + enough) // 2
        if reliability_lower_bound(middle, failures, confidence) < reliability:
            few = middle
        else:
            enough = middle
    return enough
