"""Fits: least squares in one run, and the mean over runs with the scatter between them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import t as student

Array = NDArray[np.float64]
LEAST_RUNS = 3
"""Runs below which the scatter from run to run is anybody's guess. [1]"""
_WORST_CONDITION = 1e7


@dataclass(frozen=True, eq=False)
class Fitted:
    """Least squares in one run, or in one set of readings."""

    estimate: Array
    covariance: Array
    residuals: Array
    """Measured less fitted, in standard uncertainties of a reading. [1]"""
    degrees: int
    shared: Array | None = None
    """Covariance on top that every run shares, from what the fit took as given."""

    @property
    def total(self) -> Array:
        """Covariance of the estimate with what was taken as given."""
        return self.covariance if self.shared is None else self.covariance + self.shared

    @property
    def spread(self) -> Array:
        """Standard uncertainty of each parameter; infinite where the data leave it free."""
        return np.sqrt(np.diag(self.total))

    @property
    def is_singular(self) -> bool:
        """Whether the data leave some combination of the parameters free."""
        return not bool(np.isfinite(self.covariance).all())


def fitted(left_over: Callable[[Array], Array], start: Array, steps: Array) -> Fitted:
    """Fit parameters by least squares.

    Parameters
    ----------
    left_over : callable
        Gives measured less fitted for parameters, in any one unit.
    start : ndarray
        Where to begin. [unit of each]
    steps : ndarray
        Natural size of a change of each parameter. [unit of each]

    Returns
    -------
    Fitted
        Covariances are scaled by the residuals' own variance; infinite where the data leave a
        combination of parameters free (condition of the Jacobian with columns of one length beyond
        1e7).

    Notes
    -----
    Never raises by itself.
    """
    found = least_squares(left_over, start, x_scale=steps, method="trf", xtol=1e-12, ftol=1e-12)
    jacobian = np.asarray(found.jac)
    degrees = max(found.fun.size - start.size, 1)
    lengths = np.linalg.norm(jacobian, axis=0)
    covariance = np.full((start.size, start.size), np.inf)
    if (lengths > 0).all():
        _, sizes, axes = np.linalg.svd(jacobian / lengths, full_matrices=False)
        if sizes[-1] * _WORST_CONDITION > sizes[0]:
            inverse = (axes.T / sizes**2) @ axes / np.outer(lengths, lengths)
            covariance = inverse * 2 * found.cost / degrees
    return Fitted(np.asarray(found.x), covariance, np.asarray(found.fun), degrees)


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
