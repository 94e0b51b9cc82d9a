"""The mean of fits over runs, with the scatter between them."""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

Array = NDArray[np.float64]
LEAST_RUNS = 3
"""Runs below which the scatter from run to run is anybody's guess. [1]"""


def pooled(estimates: Array) -> tuple[Array, Array, int]:
    """Mean of the estimates of several runs, and its covariance by the scatter between the runs.

    Parameters
    ----------
    estimates : ndarray
        A row for each run, a column for each parameter. [unit of each]

    Returns
    -------
    mean : ndarray
        Mean over the runs. [unit of each]
    covariance : ndarray
        Covariance of the mean. [product of the units]
    degrees : int
        Degrees of freedom, one less than the runs. [1]

    Notes
    -----
    Never raises for two or more runs. The scatter holds what differs from run to run and what each
    fit leaves uncertain, alike.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2 and 5.2.3 (type A evaluation, of several quantities at once).
    """
    runs = len(estimates)
    covariance = np.atleast_2d(np.cov(estimates, rowvar=False)) / runs
    return estimates.mean(axis=0), covariance, runs - 1


def half_width(variance: float, degrees: float) -> float:
    """Half of a 95 % interval by Student's t.

    Parameters
    ----------
    variance : float
        Variance of the estimate. [square of the unit]
    degrees : float
        Degrees of freedom behind it. [1]

    Returns
    -------
    float
        Half width. [unit]

    Notes
    -----
    Never raises.
    """
    return float(student.ppf(0.975, degrees) * np.sqrt(variance))
