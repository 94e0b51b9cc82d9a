"""A linear fit that single bad runs hardly pull: Huber's estimate."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from spinproof.stats.validity import require

HUBER_BEND = 1.345
"""Residual in standard deviations from which on a value loses weight: 95 % efficient. [1]"""
ROUNDS = 200
SETTLED = 1e-7
"""Change of a fitted value, in standard deviations, at which the rounds end. [1]"""
CLOSE = 1e-10
MEDIAN_OF_NORMAL = float(norm.ppf(0.75))
"""Median of the absolute value of a standard normal one. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RobustFit:
    """A robust linear fit.

    Attributes
    ----------
    fitted, residuals : ndarray
        What the fit expects of each value, and value less fitted. [unit of the values]
    slopes : ndarray
        Change per unit of each feature; 0 for a constant one. [unit of the values per its own]
    unknowns : int
        Number of unknowns that the features leave, the constant included. [1]
    """

    fitted: Floats
    residuals: Floats
    slopes: Floats
    unknowns: int


def robust_fit(values: ArrayLike, features: ArrayLike) -> RobustFit:
    r"""Fit a constant and a slope for each feature by Huber's estimate.

    .. math:: \min_b \sum_i \rho\Big(\frac{y_i - x_i^T b}{s}\Big),\quad
        w(r) = \min\Big(1, \frac{1.345\,s}{|r|}\Big),\quad
        s = \frac{\operatorname{med}|r|}{0.6745}

    Parameters
    ----------
    values : array_like
        At least two values.
    features : array_like
        A row of features for each value, in any units; constant and dependent columns cost no
        unknown.

    Returns
    -------
    RobustFit
        Fitted values and residuals.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two values, the rows do not match them, or one is not finite.

    References
    ----------
    .. [1] P. J. Huber, "Robust estimation of a location parameter," Ann. Math. Stat. 35, 73-101
       (1964; the constant 1.345 cited from memory).
    """
    y, columns = _matching(values, features)
    spread = columns.std(axis=0)
    moving = spread > CLOSE * np.maximum(1.0, np.abs(columns).max(axis=0, initial=0.0))
    scaled = (columns[:, moving] - columns[:, moving].mean(axis=0)) / spread[moving]
    design = np.column_stack((np.ones(y.size), scaled))
    weights = np.ones(y.size)
    fitted, answer = np.zeros(y.size), np.zeros(1 + scaled.shape[1])
    for _ in range(ROUNDS):
        root = np.sqrt(weights)
        answer = np.linalg.lstsq(design * root[:, None], y * root, rcond=CLOSE)[0]
        before, fitted = fitted, design @ answer
        residuals = np.abs(y - fitted)
        scale = float(np.median(residuals)) / MEDIAN_OF_NORMAL
        if scale <= 0 or np.abs(fitted - before).max() <= SETTLED * scale:
            break
        weights = np.minimum(1.0, HUBER_BEND * scale / np.maximum(residuals, CLOSE * scale))
    slopes = np.zeros(columns.shape[1])
    slopes[moving] = answer[1:] / spread[moving]
    return RobustFit(fitted, y - fitted, slopes, int(np.linalg.matrix_rank(design, tol=CLOSE)))


def _matching(values: ArrayLike, features: ArrayLike) -> tuple[Floats, Floats]:
    y = np.asarray(values, dtype=np.float64)
    columns = np.asarray(features, dtype=np.float64)
    require(
        y.ndim == 1
        and y.size >= 2
        and columns.ndim == 2
        and len(columns) == y.size
        and bool(np.isfinite(y).all() and np.isfinite(columns).all()),
        f"{y.size} values with {len(columns)} rows of features make no fit",
        where="robust_fit",
        mend="Give at least two finite values, and a row of finite features for each.",
    )
    return y, columns
