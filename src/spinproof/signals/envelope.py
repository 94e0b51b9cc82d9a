"""Lines of the envelope: hits of a bearing that ring a housing resonance."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, rfft, rfftfreq
from scipy.signal import hilbert

from spinproof.stats.validity import require

SEARCHED_HZ = (10.0, 500.0)
"""Where the line of a defect is looked for. [Hz]"""
NEAR = 0.02
"""How far a line may lie from its theory: elements slip a little. [1]"""
STANDS_OUT, SECOND_STANDS_OUT = 10.0, 5.0
"""How often a line, and its second harmonic, exceed the median of the spectrum. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DefectLine:
    """What the envelope's spectrum says of a bearing.

    Attributes
    ----------
    name : str or None
        The defect whose line rules the spectrum; None when there is no clear one.
    frequency : float
        Frequency of the strongest line that is no order of the shaft. [Hz]
    prominence, second : float
        The line and its second harmonic over the median of the spectrum. [1]
    """

    name: str | None
    frequency: float
    prominence: float
    second: float


def envelope_spectrum(
    acceleration: ArrayLike, rate: float, band: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Amplitude spectrum of the squared envelope of a band.

    Parameters
    ----------
    acceleration : array_like
        Samples at a constant rate. [any]
    rate : float
        Samples a second. [Hz]
    band : tuple of float
        The band around a housing resonance. [Hz]

    Returns
    -------
    tuple of ndarray
        Frequencies, and amplitudes of the squared envelope. [Hz], [any]

    Raises
    ------
    OutOfRangeError
        If the rate does not carry the band, samples are too few or not finite.

    References
    ----------
    .. [1] R. B. Randall and J. Antoni, "Rolling element bearing diagnostics: a tutorial," Mech.
       Syst. Signal Process. 25, 485-520 (2011; cited from memory).
    """
    x = np.asarray(acceleration, dtype=np.float64)
    require(
        0 < band[0] < band[1] <= rate / 2,
        f"{rate:g} samples a second do not carry the band from {band[0]:g} to {band[1]:g} Hz",
        where="envelope_spectrum",
        mend="Choose a band below half the rate.",
    )
    require(
        x.ndim == 1 and x.size >= rate and bool(np.isfinite(x).all()),
        f"{x.size} samples, {int((~np.isfinite(x)).sum())} of them not finite, show no envelope",
        where="envelope_spectrum",
        mend="Give at least one second of finite samples.",
    )
    lines, frequency = rfft(x), rfftfreq(x.size, 1 / rate)
    lines[(frequency < band[0]) | (frequency > band[1])] = 0
    squared = np.abs(hilbert(irfft(lines, x.size))) ** 2
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(x.size) / x.size)
    amplitude = 2 * np.abs(rfft((squared - squared.mean()) * window)) / window.sum()
    return frequency, amplitude


def defect_line(
    frequency: ArrayLike, amplitude: ArrayLike, shaft: float, defects: Mapping[str, float]
) -> DefectLine:
    """Say whether a defect's line rules the spectrum of an envelope.

    Parameters
    ----------
    frequency, amplitude : array_like
        Spectrum of the squared envelope. [Hz], [any]
    shaft : float
        Frequency of the shaft. [Hz]
    defects : mapping of str to float
        Name of each defect, and its frequency. [Hz]

    Returns
    -------
    DefectLine
        The defect, or none: a spectrum without a clear line is called so.

    Raises
    ------
    OutOfRangeError
        If the spectrum does not reach over the searched band, or the shaft stands still.

    Notes
    -----
    Orders of the shaft are left out; the strongest line left must be the fundamental of a defect,
    stand out tenfold, and have a second harmonic that stands out fivefold. Common practice.
    """
    f, a = np.asarray(frequency, dtype=np.float64), np.asarray(amplitude, dtype=np.float64)
    require(
        f.size > 1 and shaft > 0 and f[-1] >= SEARCHED_HZ[1] and f[1] <= 2.0,
        "the spectrum does not reach over the searched band, or the shaft stands still",
        where="defect_line",
        mend=f"Give a spectrum up to {SEARCHED_HZ[1]:g} Hz in steps of 2 Hz or less, and a speed.",
    )
    off_order = np.abs(f - shaft * np.round(f / shaft)) > np.maximum(0.5, 0.004 * f)
    searched = (f >= SEARCHED_HZ[0]) & (f <= SEARCHED_HZ[1])
    floor = float(np.median(a[(f >= SEARCHED_HZ[0] / 2) & (f <= SEARCHED_HZ[1])]))
    candidates = np.flatnonzero(searched & off_order)
    peak = candidates[np.argmax(a[candidates])]
    near_second = np.abs(f - 2 * f[peak]) <= NEAR * f[peak]
    second = float(a[near_second].max(initial=0.0))
    name = next(
        (
            name
            for name, line in sorted(defects.items(), key=lambda item: abs(item[1] - f[peak]))
            if abs(f[peak] - line) <= NEAR * line
        ),
        None,
    )
    clear = a[peak] >= STANDS_OUT * floor and second >= SECOND_STANDS_OUT * floor
    return DefectLine(
        name=name if clear else None,
        frequency=float(f[peak]),
        prominence=float(a[peak] / floor) if floor > 0 else float("inf"),
        second=second / floor if floor > 0 else float("inf"),
    )
