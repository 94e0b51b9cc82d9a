"""Where a series that changes began to: a creep that goes on, or a shift that holds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.stats.robust_fit import robust_fit
from spinproof.stats.validity import require

FEWEST_ON_A_SIDE = 3
"""Values that a shift needs on either side, and a creep after its beginning. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Onset:
    """Where a change began, and its shape.

    Attributes
    ----------
    first : int
        Place, counted from 0, of the first value that the change moved. [1]
    creeps : bool
        Whether it goes on; else it moved at once and held.
    shape : ndarray
        The change without its size: zero before it, then one, or counting from one. [1]
    size : float
        Change per step of a creep, or height of a shift. [unit of the values]
    """

    first: int
    creeps: bool
    shape: Floats
    size: float


def onset_of(values: ArrayLike) -> Onset:
    r"""Find the creep or shift that leaves least of a series unexplained.

    .. math:: \min_{\tau, a, b} \sum_i |x_i - a - b\,c_i(\tau)|,\quad
        c_i = \max(0, i - \tau + 1)\ \text{or}\ [i \ge \tau]

    Parameters
    ----------
    values : array_like
        At least seven values of a series in order, of which it is known that they change.

    Returns
    -------
    Onset
        Where and how.

    Raises
    ------
    OutOfRangeError
        If there are too few values, or one is not finite.

    Notes
    -----
    For each place a and b are Huber's estimate, so that single bad runs hardly pull them. Of 50
    values with a scatter of 1, nine in ten creeps of 0.2 a step are dated within 4 steps, and
    shifts of 3 within 1 (60 simulated of each).

    References
    ----------
    .. [1] P. J. Huber, "Robust estimation of a location parameter," Ann. Math. Stat. 35, 73-101
       (1964).
    """
    x = np.asarray(values, dtype=np.float64)
    require(
        x.ndim == 1 and x.size > 2 * FEWEST_ON_A_SIDE and bool(np.isfinite(x).all()),
        f"{x.size} values, {int((~np.isfinite(x)).sum())} of them not finite, show no beginning",
        where="onset_of",
        mend=f"Give at least {2 * FEWEST_ON_A_SIDE + 1} finite values in order.",
    )
    step: Floats = np.arange(x.size, dtype=np.float64)
    best, left = Onset(0, creeps=True, shape=step, size=0.0), np.inf
    for creeps in (True, False):
        for first in range(0 if creeps else FEWEST_ON_A_SIDE, x.size - FEWEST_ON_A_SIDE + 1):
            since = np.maximum(0.0, step - first + 1)
            shape: Floats = since if creeps else np.minimum(since, 1.0)
            fit = robust_fit(x, shape[:, None])
            unexplained = float(np.abs(fit.residuals).sum())
            if unexplained < left:
                best, left = Onset(first, creeps, shape, float(fit.slopes[0])), unexplained
    return best
