"""Crest factor and kurtosis of signals too long to hold; what a severity is uncertain by."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from spinproof.signals.severity import BAND_HZ
from spinproof.stats.validity import require

_METHOD = 0.001 / np.sqrt(3)
"""Standard uncertainty of `velocity_severity` for a line inside the band: evenly within 0.1 %."""


@dataclass(frozen=True)
class Moments:
    """Sums of powers of a signal about a value near its mean, block by block.

    Attributes
    ----------
    about : float
        The value: mean of the first block. [any]
    count : int
        Number of samples. [1]
    sums : tuple of float
        Sums of the first to fourth power of the samples less that value. [any]
    lowest, highest : float
        The extremes, less that value. [any]
    """

    about: float = 0.0
    count: int = 0
    sums: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    lowest: float = np.inf
    highest: float = -np.inf

    def with_block(self, values: ArrayLike) -> Self:
        """Add a block of samples; never raises."""
        x = np.asarray(values, dtype=np.float64)
        if not x.size:
            return self
        about = self.about if self.count else float(x.mean())
        x = x - about
        square = x * x
        new = (x.sum(), square.sum(), (square * x).sum(), (square * square).sum())
        first, second, third, fourth = (
            old + float(more) for old, more in zip(self.sums, new, strict=True)
        )
        return type(self)(
            about,
            self.count + x.size,
            (first, second, third, fourth),
            min(self.lowest, float(x.min())),
            max(self.highest, float(x.max())),
        )

    @property
    def moves(self) -> bool:
        """Whether any two samples differ."""
        return self.highest > self.lowest

    def crest_factor(self) -> float:
        """Peak over root mean square about the mean.

        Returns
        -------
        float
            The crest factor. [1]

        Raises
        ------
        OutOfRangeError
            If nothing moves.
        """
        mean, second, _ = self._central()
        return max(self.highest - mean, mean - self.lowest) / float(np.sqrt(second))

    def kurtosis(self) -> float:
        """Fourth central moment over the squared second.

        Returns
        -------
        float
            The kurtosis. [1]

        Raises
        ------
        OutOfRangeError
            If nothing moves.
        """
        _, second, fourth = self._central()
        return fourth / second**2

    def _central(self) -> tuple[float, float, float]:
        require(
            self.moves,
            "there are no samples, or nothing moves",
            where="Moments",
            mend="Give finite samples of something that moves.",
        )
        mean, m2, m3, m4 = (total / self.count for total in self.sums)
        fourth = m4 - 4 * mean * m3 + 6 * mean**2 * m2 - 3 * mean**4
        return mean, m2 - mean**2, fourth


def severity_uncertainty(
    velocity: float,
    relative: float,
    resolution: float,
    rate: float,
    band: tuple[float, float] = BAND_HZ,
) -> float:
    r"""Give the standard uncertainty of a velocity severity: calibration, method, resolution.

    .. math:: u^2 = v^2 (u_r^2 + u_m^2) + \frac{q^2}{6 f_s (2 \pi)^2}
        \left(\frac{1}{f_1} - \frac{1}{f_2}\right)

    Parameters
    ----------
    velocity : float
        The severity. [m/s]
    relative : float
        Standard uncertainty of the accelerometer's scale in proportion. [1]
    resolution : float
        Acceleration q between two readings of the converter. [m/s2]
    rate : float
        Samples a second. [Hz]
    band : tuple of float
        Lowest and highest frequency. [Hz]

    Returns
    -------
    float
        Standard uncertainty. [m/s]

    Raises
    ------
    OutOfRangeError
        If an input is negative, or rate or band are not positive.

    Notes
    -----
    The last term is the converter's noise q²/12, even from 0 to half the rate, as velocity. It
    says how well this recording was measured, not how much the machine varies; a line within
    2 Hz of an end of the band reads up to 2 % low beyond it.

    References
    ----------
    .. [1] JCGM 100:2008, evaluation of measurement data (GUM), F.2.2.1 for the resolution.
    """
    require(
        min(velocity, relative, resolution) >= 0 and rate > 0 and 0 < band[0] < band[1],
        "an input is negative, or rate or band are not positive",
        where="severity_uncertainty",
        mend="Give a severity, uncertainty and resolution of zero or more, and a rising band.",
    )
    noise = resolution**2 / (6 * rate * (2 * np.pi) ** 2) * (1 / band[0] - 1 / band[1])
    return float(np.sqrt(velocity**2 * (relative**2 + _METHOD**2) + noise))
