"""How severe a vibration is: velocity from acceleration, crest factor, kurtosis."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import rfft, rfftfreq

from spinproof.stats.validity import require

BAND_HZ = (10.0, 1000.0)
"""Band of the severity of ISO 20816-1; below it, a tracked 1x value says more. [Hz]"""
MOST_CLIPPED = 0.001
"""Share of samples at the end of the range from which a window is not believed. [1]"""

Floats = NDArray[np.float64]


def velocity_severity(
    acceleration: ArrayLike,
    rate: float,
    band: tuple[float, float] = BAND_HZ,
    window: float = 1.0,
) -> Floats:
    r"""Root mean square velocity in a band, window by window, from acceleration.

    .. math:: v^2 = \sum_{f_1 \le f_k \le f_2}
        \frac{2 |A_k|^2}{N \sum_j w_j^2} \frac{1}{(2 \pi f_k)^2}

    Parameters
    ----------
    acceleration : array_like
        Samples at a constant rate; what does not fill a last window is left out. [m/s2]
    rate : float
        Samples a second. [Hz]
    band : tuple of float
        Lowest and highest frequency, both included. [Hz]
    window : float
        Length of a window. [s]

    Returns
    -------
    ndarray
        One value for each window; NaN where a sample is not finite. [m/s]

    Raises
    ------
    OutOfRangeError
        If the rate does not carry the band, or there is not one whole window.

    Notes
    -----
    Hann's window, energy corrected, no overlap. A line within 2 Hz of an end of the band leaks
    over it and reads up to 2 % low; inside, a line reads within 0.1 %.

    References
    ----------
    .. [1] ISO 20816-1:2016, mechanical vibration: measurement and evaluation.
    .. [2] F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
       transform," Proc. IEEE 66, 51-83 (1978).
    """
    x = np.asarray(acceleration, dtype=np.float64)
    length = round(window * rate)
    require(
        0 < band[0] < band[1] < rate / 2 and band[0] * window >= 3,
        f"{rate:g} samples a second in windows of {window:g} s do not carry the band from"
        f" {band[0]:g} to {band[1]:g} Hz",
        where="velocity_severity",
        mend="Sample at more than twice the highest frequency, and keep three periods of the "
        "lowest in a window.",
    )
    require(
        x.ndim == 1 and x.size >= length,
        f"{x.size} samples do not fill one window of {length}",
        where="velocity_severity",
        mend="Record longer, or ask for shorter windows.",
    )
    shape = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)
    frequency = rfftfreq(length, 1 / rate)
    inside = (frequency >= band[0]) & (frequency <= band[1])
    lines = rfft(x[: x.size // length * length].reshape(-1, length) * shape, axis=1)[:, inside]
    power = 2 * np.abs(lines) ** 2 / (length * np.sum(shape**2))
    return np.asarray(np.sqrt((power / (2 * np.pi * frequency[inside]) ** 2).sum(axis=1)))


def over_windows(severity: ArrayLike) -> float:
    """Join the values of windows to that of the whole, as root mean square.

    Parameters
    ----------
    severity : array_like
        Values of windows; those that are not finite are left out. [m/s]

    Returns
    -------
    float
        Value of the whole; NaN without a finite window. [m/s]

    Notes
    -----
    Never raises.
    """
    v = np.asarray(severity, dtype=np.float64)
    v = v[np.isfinite(v)]
    return float(np.sqrt(np.mean(v**2))) if v.size else float("nan")


def crest_factor(values: ArrayLike) -> float:
    """Peak over root mean square about the mean: 1.41 for a sine, 3 to 5 for noise.

    Parameters
    ----------
    values : array_like
        Samples. [any]

    Returns
    -------
    float
        The crest factor. [1]

    Raises
    ------
    OutOfRangeError
        If there are no samples, one is not finite, or nothing moves.
    """
    x = _moving(values, "crest_factor")
    return float(np.abs(x).max() / np.sqrt(np.mean(x**2)))


def kurtosis(values: ArrayLike) -> float:
    """Fourth moment over the squared second: 1.5 for a sine, 3 for normal noise, more for hits.

    Parameters
    ----------
    values : array_like
        Samples. [any]

    Returns
    -------
    float
        The kurtosis. [1]

    Raises
    ------
    OutOfRangeError
        If there are no samples, one is not finite, or nothing moves.

    Notes
    -----
    Rises early with damage and falls again when it spreads: never a sign by itself.
    """
    x = _moving(values, "kurtosis")
    return float(np.mean(x**4) / np.mean(x**2) ** 2)


def clipped_share(counts: ArrayLike, lowest: int, highest: int) -> float:
    """Share of samples at an end of the converter's range.

    Parameters
    ----------
    counts : array_like of int
        Readings of the converter. [1]
    lowest, highest : int
        Ends of its range. [1]

    Returns
    -------
    float
        The share; from 0.001 on, a severity is not to be believed. [1]

    Raises
    ------
    OutOfRangeError
        If there is no sample, or the range is empty.
    """
    c = np.asarray(counts)
    require(
        c.size > 0 and lowest < highest,
        f"{c.size} samples in a range from {lowest} to {highest}",
        where="clipped_share",
        mend="Give samples, and the lowest count before the highest.",
    )
    return float(np.mean((c <= lowest) | (c >= highest)))


def _moving(values: ArrayLike, where: str) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    require(
        x.size > 1 and bool(np.isfinite(x).all()) and float(np.ptp(x)) > 0,
        "there are no samples, one is not finite, or nothing moves",
        where=where,
        mend="Give finite samples of something that moves.",
    )
    centred: Floats = x - x.mean()
    return centred
