"""A creep whose beginning is not known: how steep it is, and when it reaches a level."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.stats import t as student

from spinproof.stats.drift import likeness_of
from spinproof.stats.onset import FEWEST_ON_A_SIDE
from spinproof.stats.robust_fit import robust_fit
from spinproof.stats.validity import require

FAR = 2.5
"""Residual in standard deviations at which a value counts no further: a single bad run. [1]"""
FURTHEST = 1e5
"""Steps beyond which a level is taken as never reached. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Creep:
    """A line that begins to bend somewhere: one line for each place, with its weight.

    Attributes
    ----------
    weight : ndarray
        Probability of each beginning. [1]
    now, slope : ndarray
        Level at the last value, and change per step, for each beginning.
    covariance : ndarray
        Covariance of the two, a 2 by 2 matrix for each beginning.
    degrees : float
        Degrees of freedom. [1]
    """

    weight: Floats
    now: Floats
    slope: Floats
    covariance: Floats
    degrees: float

    def chance_beyond(self, level: float, after: float) -> float:
        """Probability that the creep lies beyond a level so many steps after the last value."""
        apart = np.array([1.0, after])
        spread = np.sqrt(np.einsum("i,kij,j->k", apart, self.covariance, apart))
        middle = self.now + after * self.slope
        return float(self.weight @ student.cdf((middle - level) / spread, self.degrees))

    def slope_at(self, chance: float) -> float:
        """Slope that the true one lies below with a chance."""
        spread = np.sqrt(self.covariance[:, 1, 1])
        reach = 50 * float(spread.max())

        def excess(slope: float) -> float:
            below = student.cdf((slope - self.slope) / spread, self.degrees)
            return float(self.weight @ below) - chance

        low, high = float(self.slope.min()) - reach, float(self.slope.max()) + reach
        if excess(low) >= 0 or excess(high) <= 0:
            return float(np.average(self.slope, weights=self.weight))
        return float(brentq(excess, low, high))

    def steps_to(self, level: float, chance: float) -> float | None:
        """Give the steps after which it is beyond a level, up or down, with a chance.

        Parameters
        ----------
        level : float
            The level; the side is taken from where the series lies now.
        chance : float
            Probability. [1]

        Returns
        -------
        float or None
            Steps, 0 when it is beyond already; None for never.
        """
        up = level > float(self.weight @ self.now)

        def excess(after: float) -> float:
            beyond = self.chance_beyond(level, after)
            return (beyond if up else 1 - beyond) - chance

        if excess(0.0) >= 0:
            return 0.0
        last = 1.0
        while excess(last) < 0:
            last *= 2
            if last > FURTHEST:
                return None
        return float(brentq(excess, 0.0, last))


def creep_of(values: ArrayLike, *, spent: int = 0) -> Creep:
    r"""Weigh all places at which a creep can have begun.

    .. math:: p(\tau \mid x) \propto |X_\tau^T X_\tau|^{-1/2}\, S_\tau^{-\nu/2},\quad
        x_i = a + b \max(0, i - \tau + 1) + e_i

    Parameters
    ----------
    values : array_like
        At least seven values of a series in order, of which it is known that they creep.
    spent : int
        Unknowns that were fitted to the values before, beside their mean. [1]

    Returns
    -------
    Creep
        One line for each beginning.

    Raises
    ------
    OutOfRangeError
        If there are too few values, or one is not finite.

    Notes
    -----
    Every beginning is as likely as the next before the values are seen, as are all levels, slopes
    and logarithms of the scatter. Values further than 2.5 standard deviations from the likeliest
    line are drawn in to there. Neighbours that resemble one another count for fewer values; their
    correlation is corrected for what a fitted line takes of it, (2 + 4r)/n (Marriott and Pope 1954,
    from memory).

    References
    ----------
    .. [1] A. Zellner, An Introduction to Bayesian Inference in Econometrics, Wiley, 1971 (linear
       regression with vague priors; cited from memory).
    """
    x = np.asarray(values, dtype=np.float64)
    require(
        x.ndim == 1 and x.size > 2 * FEWEST_ON_A_SIDE and bool(np.isfinite(x).all()),
        f"{x.size} values, {int((~np.isfinite(x)).sum())} of them not finite, show no creep",
        where="creep_of",
        mend=f"Give at least {2 * FEWEST_ON_A_SIDE + 1} finite values in order.",
    )
    n, step = x.size, np.arange(x.size, dtype=np.float64)
    shapes = np.maximum(0.0, step - np.arange(n - FEWEST_ON_A_SIDE + 1)[:, None] + 1)
    lines = _lines(x, shapes)
    best = int(np.argmin([left for *_, left in lines]))
    x, likeness = _drawn_in(x, shapes[best])
    lines = _lines(x, shapes)
    fewer = (1 + likeness) / (1 - likeness)
    degrees = max((n - 2 - spent) / fewer, 1.0)
    now, slope, inverse, squares = (np.array(part) for part in zip(*lines, strict=True))
    squares = np.maximum(squares, 1e-12 * float(np.ptp(x)) ** 2 + 1e-300)
    size = 0.5 * np.linalg.slogdet(inverse)[1] - degrees / 2 * np.log(squares)
    weight = np.exp(size - size.max())
    covariance = inverse * (squares / degrees)[:, None, None]
    return Creep(weight / weight.sum(), now, slope, covariance, degrees)


def _lines(x: Floats, shapes: Floats) -> list[tuple[float, float, Floats, float]]:
    """Give level now, slope, inverse of the normal matrix, and squares left, for each shape."""
    found = []
    for shape in shapes:
        design = np.column_stack((np.ones(x.size), shape - shape[-1]))
        inverse = np.linalg.inv(design.T @ design)
        answer = inverse @ (design.T @ x)
        left = x - design @ answer
        found.append((float(answer[0]), float(answer[1]), inverse, float(left @ left)))
    return found


def _drawn_in(x: Floats, shape: Floats) -> tuple[Floats, float]:
    """Draw far values in to the likeliest line, and give how neighbours resemble one another."""
    fit = robust_fit(x, shape[:, None])
    scatter = float(np.median(np.abs(fit.residuals))) / 0.6745
    drawn = np.clip(fit.residuals, -FAR * scatter, FAR * scatter) if scatter > 0 else fit.residuals
    return fit.fitted + drawn, likeness_of(drawn)
