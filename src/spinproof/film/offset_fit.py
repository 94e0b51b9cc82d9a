"""An offset between two clocks from many small differences that it explains."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLOOR_S = 0.004
"""Below this no offset is believed: windows, shutters and sampling of the log. [s]"""


@dataclass(frozen=True)
class OffsetFit:
    """A correction to an offset, and about which moment it speaks."""

    correction_s: float
    standard_uncertainty_s: float
    middle: int
    """Index of the difference in the middle of those that tell."""


def fit_offset(
    residual: Floats, slope: Floats, weight: Floats, block: NDArray[np.int64]
) -> OffsetFit | None:
    """Fit the correction that explains residuals best: residual = slope x correction.

    Parameters
    ----------
    residual, slope : ndarray
        Differences, and by how much each grows with the correction.
    weight : ndarray
        One over the variance of each difference.
    block : ndarray
        Number of the block of each; differences in one block may depend on one another.

    Returns
    -------
    OffsetFit or None
        None when fewer than four blocks say anything.

    Notes
    -----
    Weighted least squares with a variance that holds for any dependence inside the blocks.

    References
    ----------
    .. [1] K.-Y. Liang and S. L. Zeger, "Longitudinal data analysis using generalized linear
       models," Biometrika 73, 13-22 (1986): the sandwich estimator.
    """
    bread = float(np.sum(weight * slope**2))
    share = np.bincount(block, weight * slope**2)
    effective = float(share.sum() ** 2 / np.sum(share**2)) if bread > 0 else 0.0
    if effective < 3 or np.count_nonzero(share) < 4:
        return None
    correction = float(np.sum(weight * slope * residual)) / bread
    left = residual - slope * correction
    meat = float(np.sum(np.bincount(block, weight * slope * left) ** 2))
    variance = meat / bread**2 * effective / (effective - 1)
    told = np.cumsum(weight * slope**2)
    middle = int(np.searchsorted(told, 0.5 * bread))
    spread = max(variance, 1 / bread) ** 0.5
    return OffsetFit(correction, float(np.hypot(spread, FLOOR_S)), min(middle, residual.size - 1))
