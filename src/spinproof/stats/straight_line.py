"""A straight calibration line through readings, with the uncertainty of what it predicts."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from spinproof.stats.validity import require


@dataclass(frozen=True)
class Line:
    """A line y = intercept + slope (x - origin), fitted by least squares."""

    origin: float
    intercept: float
    slope: float
    intercept_uncertainty: float
    slope_uncertainty: float
    correlation: float
    """Correlation coefficient of intercept and slope. [1]"""
    scatter: float
    """Standard deviation of the readings about the line. [unit of y]"""
    degrees: int
    """Degrees of freedom, n - 2. [1]"""

    def at(self, x: float) -> tuple[float, float]:
        """Value of the line at x, and its standard uncertainty [unit of y]."""
        reach = x - self.origin
        variance = (
            self.intercept_uncertainty**2
            + (reach * self.slope_uncertainty) ** 2
            + 2 * reach * self.correlation * self.intercept_uncertainty * self.slope_uncertainty
        )
        return self.intercept + self.slope * reach, sqrt(max(variance, 0.0))


def calibration_line(x: ArrayLike, y: ArrayLike, origin: float = 0.0) -> Line:
    r"""Line through calibration readings by least squares.

    .. math:: s^2 = \frac{\sum [y_k - a - b\,(x_k - x_0)]^2}{n - 2}, \qquad
              s^2(b) = \frac{s^2}{\sum (x_k - \bar x)^2}

    Parameters
    ----------
    x : array_like
        Where the readings were taken, at least three and not all at one place. [unit of x]
    y : array_like
        The readings, for example corrections of an instrument. [unit of y]
    origin : float
        Place x0 that the intercept belongs to. [unit of x]

    Returns
    -------
    Line
        Intercept and slope with standard uncertainties and correlation.

    Raises
    ------
    OutOfRangeError
        If there are fewer than three pairs, the numbers of x and y differ, or all x are equal.

    Notes
    -----
    Holds when the scatter is in y alone and the same everywhere.

    References
    ----------
    .. [1] JCGM 100:2008, H.3.

    Examples
    --------
    >>> line = calibration_line([0.0, 1.0, 2.0, 3.0], [0.1, 1.1, 1.9, 3.1])
    >>> round(line.slope, 3), round(line.at(1.5)[1], 4)
    (0.98, 0.0592)
    """
    at, read = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    require(
        at.ndim == 1
        and at.shape == read.shape
        and at.size >= 3
        and bool(np.isfinite(at).all() and np.isfinite(read).all())
        and float(np.ptp(at)) > 0,
        "these readings make no line",
        where="calibration_line",
        mend="Give at least three finite pairs at different places.",
    )
    n, off = at.size, at - at.mean()
    spread = float(off @ off)
    slope = float(off @ read) / spread
    centre = float(read.mean())
    scatter = sqrt(float(np.sum((read - centre - slope * off) ** 2)) / (n - 2))
    lever = float(at.mean()) - origin
    at_origin = sqrt(1 / n + lever**2 / spread)
    return Line(
        origin=origin,
        intercept=centre - slope * lever,
        slope=slope,
        intercept_uncertainty=scatter * at_origin,
        slope_uncertainty=scatter / sqrt(spread),
        correlation=-lever / sqrt(spread) / at_origin,
        scatter=scatter,
        degrees=n - 2,
    )
