"""Least squares in one run, or in one set of readings, with the covariance of what was found."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Array = NDArray[np.float64]
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
