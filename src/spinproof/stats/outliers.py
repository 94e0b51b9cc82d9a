"""Single values of a series that do not belong to the others, however many there may be."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from spinproof.stats.validity import require

FEWEST_LEFT = 3
"""Degrees of freedom below which a scatter is anybody's guess. [1]"""


class Outlier(NamedTuple):
    """A value that does not belong to the others."""

    place: int
    """Its place in the series, counted from 0. [1]"""
    off: float
    """Its distance from the mean of the others. [unit of the values]"""
    deviations: float
    """The same in standard deviations of the others. [1]"""


def outliers_of(
    values: ArrayLike, chance: float, *, most: int = 3, spent: int = 0
) -> tuple[Outlier, ...]:
    r"""Find values that do not belong to the others, by Rosner's many-outlier procedure.

    .. math:: R_i = \frac{\max |x - \bar x|}{s},\quad
        \lambda_i = \frac{(n - i)\,t_{p,\,n-i-1}}{\sqrt{(n - i - 1 + t^2)(n - i + 1)}},\quad
        p = 1 - \frac{\alpha}{2 (n - i + 1)}

    Parameters
    ----------
    values : array_like
        Values of a series, without their trend.
    chance : float
        Chance of one or more false ones in the whole series. [1]
    most : int
        Outliers that are looked for at most; the largest ones do not hide each other. [1]
    spent : int
        Unknowns that were fitted to the values before, beside their mean. [1]

    Returns
    -------
    tuple of Outlier
        In order of their places; none when the values are too few or all the same.

    Raises
    ------
    OutOfRangeError
        If a value is not finite, or the chance does not lie between 0 and 1.

    References
    ----------
    .. [1] B. Rosner, "Percentage points for a generalized ESD many-outlier procedure,"
       Technometrics 25, 165-172 (1983).

    Examples
    --------
    >>> outliers_of([0.1, -0.2, 0.0, 0.2, 5.0, -0.1, 0.1, 0.0], 0.05)[0].place
    4
    """
    x = np.asarray(values, dtype=np.float64)
    require(
        x.ndim == 1 and bool(np.isfinite(x).all()) and 0 < chance < 1,
        "a value is not finite, or the chance is none",
        where="outliers_of",
        mend="Give finite values and a chance between 0 and 1.",
    )
    left, taken, clear = np.arange(x.size), [], 0
    for _ in range(most):
        degrees = left.size - 2 - spent
        scatter = float(x[left].std(ddof=1 + spent)) if degrees >= FEWEST_LEFT else 0.0
        if scatter <= 0:
            break
        apart = np.abs(x[left] - x[left].mean())
        worst = int(np.argmax(apart))
        at = float(student.isf(chance / (2 * left.size), degrees))
        free = (degrees + 1) / left.size  # what a fit leaves of a value's own variance
        bound = at * np.sqrt(free * (degrees + 1) / (degrees + at**2))
        taken.append(int(left[worst]))
        if apart[worst] / scatter > bound:
            clear = len(taken)
        left = np.delete(left, worst)
    rest = np.delete(x, taken[:clear])
    if clear == 0 or rest.size < FEWEST_LEFT:
        return ()
    middle, scatter = float(rest.mean()), float(rest.std(ddof=min(1 + spent, rest.size - 1)))
    return tuple(
        Outlier(place, float(x[place] - middle), abs(float(x[place] - middle)) / scatter)
        for place in sorted(taken[:clear])
        if scatter > 0
    )
