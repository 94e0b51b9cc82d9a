"""Vibration second by second from converter counts: one Fourier transform, three products."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import ifft, rfft

from spinproof.signals.severity import BAND_HZ
from spinproof.signals.windows_kernels import (
    correlate,
    magnitudes,
    peaks_near,
    rising_edges,
    turn,
    weigh,
    weighted_power,
)
from spinproof.stats.validity import require

BLOCK = 8
"""Windows transformed at once; their numbers stay in the processor's own memory. [1]"""
ENVELOPE_BAND = (0.2, 0.45)
"""Band of the envelope in proportion to the rate. [1]"""
HARMONICS = 3
"""Harmonics of each defect. [1]"""
SLOWEST = 5.0
"""Speed below which an envelope says nothing of a bearing. [rev/s]"""
UNEVEN = 1.5
"""Longest interval of pulses in a window over the shortest from which none is believed. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Converter:
    """How the counts of one direction become accelerations.

    Attributes
    ----------
    scale : float
        Acceleration of one count. [m/s2]
    lowest, highest : int
        Ends of the converter's range. [1]
    missing : int, optional
        Count of a sample that is none. [1]
    """

    scale: float
    lowest: int = -(2**15)
    highest: int = 2**15 - 1
    missing: int | None = None


@dataclass(frozen=True, eq=False)
class Windows:
    """What was felt in each window of one second; NaN where it cannot be told.

    Attributes
    ----------
    start_s : ndarray, shape (windows,)
        Begin of each. [s]
    speed : ndarray, shape (windows,)
        Mean speed by the pulses; 0 where there are none. [rev/s]
    severity : ndarray, shape (windows, axes)
        Root mean square velocity, 10 to 1000 Hz. [m/s]
    vector : ndarray of complex, shape (windows, axes)
        Acceleration at the speed of the shaft; the negative of its angle is the lag. [m/s2]
    envelope : ndarray, shape (windows, axes, orders, harmonics)
        Amplitude of the envelope's line at each order. [m/s2]
    crest, kurtosis, clipped : ndarray, shape (windows, axes)
        Crest factor, kurtosis, and share of samples at an end of the range. [1]
    """

    start_s: Floats
    speed: Floats
    severity: Floats
    vector: NDArray[np.complex128]
    envelope: Floats
    crest: Floats
    kurtosis: Floats
    clipped: Floats

    @property
    def tracked(self) -> Floats:
        """Root mean square velocity at the speed of the shaft; NaN at rest [m/s]."""
        turning = np.where(self.speed > 0, self.speed, np.nan)[:, np.newaxis]
        return np.asarray(np.abs(self.vector) / np.sqrt(2) / (2 * np.pi * turning))

    @classmethod
    def joined(cls, parts: Sequence["Windows"]) -> "Windows":
        """Put windows of several batches behind one another."""
        names = cls.__dataclass_fields__
        return cls(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})


class WindowMeter:
    """Measures windows of one second; its buffers are used again and again.

    Parameters
    ----------
    rate : float
        Samples a second. [Hz]
    converters : sequence of Converter
        One for each direction.
    orders : array_like
        Orders of a bearing's defects; none without it. [1]

    Raises
    ------
    OutOfRangeError
        If the rate does not carry the band of the severity.

    Notes
    -----
    Hann's window, energy corrected, no overlap, single precision for the transform. The envelope
    is the magnitude of 0.2 to 0.45 of the rate out of the same transform; each line is the largest
    within one bin of its order.

    References
    ----------
    .. [1] ISO 20816-1:2016, mechanical vibration: measurement and evaluation.
    .. [2] R. B. Randall and J. Antoni, "Rolling element bearing diagnostics: a tutorial," Mech.
       Syst. Signal Process. 25, 485-520 (2011; cited from memory).
    """

    def __init__(
        self, rate: float, converters: Sequence[Converter], orders: ArrayLike = ()
    ) -> None:
        require(
            rate > 2 * BAND_HZ[1],
            f"{rate:g} samples a second do not carry the band up to {BAND_HZ[1]:g} Hz",
            where="WindowMeter",
            mend="Sample at more than twice the highest frequency of the band.",
        )
        self.rate, self.converters = rate, tuple(converters)
        self.length = round(rate)
        self._orders = np.atleast_1d(np.asarray(orders, dtype=np.float64)).ravel()
        self._limits = [
            np.array([c.lowest, c.highest, 2**40 if c.missing is None else c.missing])
            for c in self.converters
        ]
        shape = _hann(self.length)
        self._hann = shape.astype(np.float32)
        frequency = np.arange(self.length // 2 + 1) * rate / self.length
        # the last bits of a rate that is no whole number must not move a line out of the band
        inside = (frequency >= BAND_HZ[0] - 0.5) & (frequency <= BAND_HZ[1] + 0.5)
        power = 2 / (self.length * np.sum(shape**2)) / (2 * np.pi * frequency[inside]) ** 2
        self._first, self._weights = int(np.argmax(inside)), power.astype(np.float32)
        self._low, self._high = (round(share * self.length) for share in ENVELOPE_BAND)
        self._narrow = _hann(self._high - self._low).astype(np.float32)
        self._envelope_scale = 4 / self.length / float(np.sum(self._narrow)) * self._narrow.size
        self._values = np.empty((BLOCK, self.length), dtype=np.float32)
        self._magnitudes = np.empty((BLOCK, self._narrow.size), dtype=np.float32)
        self._real = np.empty((BLOCK, self.length), dtype=np.float32)
        self._imaginary = np.empty((BLOCK, self.length), dtype=np.float32)

    def measure(
        self,
        counts: NDArray[Any],
        start_s: float,
        edges: Floats | None = None,
        pulses_per_rev: int = 1,
    ) -> Windows:
        """Measure a batch; what does not fill a last window is left out.

        Parameters
        ----------
        counts : ndarray of int, shape (samples, axes)
            Counts without a hole; best with the samples of an axis side by side in memory.
        start_s : float
            Moment of the first sample. [s]
        edges : ndarray, optional
            Increasing moments of pulses of the shaft, from before the batch to after it. [s]
        pulses_per_rev : int
            Pulses in a revolution. [1]

        Returns
        -------
        Windows
            One of each for every whole second.

        Notes
        -----
        Never raises.
        """
        rows = np.ascontiguousarray(counts.T)
        whole, axes = rows.shape[1] // self.length, len(self.converters)
        begins = np.arange(whole) * self.length
        places = (
            np.empty(0)
            if edges is None
            else (np.asarray(edges, dtype=np.float64) - start_s) * self.rate
        )
        speed, index = _speeds(begins, self.length, places, pulses_per_rev)
        found = Windows(
            start_s=start_s + begins / self.rate,
            speed=speed * self.rate,
            severity=np.empty((whole, axes)),
            vector=np.full((whole, axes), complex(np.nan, np.nan)),
            envelope=np.full((whole, axes, self._orders.size, HARMONICS), np.nan),
            crest=np.empty((whole, axes)),
            kurtosis=np.empty((whole, axes)),
            clipped=np.empty((whole, axes)),
        )
        for first in range(0, whole, BLOCK):
            block = range(first, min(first + BLOCK, whole))
            for w in block:
                if index[w] >= 0:
                    place = (places, pulses_per_rev, begins[w], index[w])
                    turn(*place, self._real[w - first], self._imaginary[w - first])
            for axis in range(axes):
                self._axis(found, rows[axis], axis, block, index)
        return found

    def _axis(
        self, found: Windows, row: NDArray[Any], axis: int, block: range, index: NDArray[np.int64]
    ) -> None:
        scale, length, first = self.converters[axis].scale, self.length, block.start
        lost = np.zeros(len(block), dtype=np.bool_)
        for k, w in enumerate(block):
            window = row[w * length : (w + 1) * length]
            sums = weigh(window, scale, self._limits[axis], self._hann, self._values[k])
            found.crest[w, axis], found.kurtosis[w, axis] = _shape(sums, length)
            found.clipped[w, axis], lost[k] = sums[6] / length, sums[7] > 0
            if index[w] >= 0:
                vector = correlate(window, self._real[k], self._imaginary[k])
                found.vector[w, axis] = scale * vector
        lines = rfft(self._values[: len(block)], axis=1)
        for k, w in enumerate(block):
            found.severity[w, axis] = np.sqrt(weighted_power(lines[k], self._weights, self._first))
        if self._orders.size:
            self._envelopes(found, lines, axis, block)
        gone = np.flatnonzero(lost) + first
        for values in (found.severity, found.vector, found.envelope, found.crest, found.kurtosis):
            values[gone, axis] = np.nan

    def _envelopes(
        self, found: Windows, lines: NDArray[np.complex64], axis: int, block: range
    ) -> None:
        analytic = ifft(lines[:, self._low : self._high], axis=1)
        for k in range(len(block)):
            magnitudes(analytic[k], self._narrow, self._magnitudes[k])
        spectra = rfft(self._magnitudes[: len(block)], axis=1)
        times = np.outer(self._orders, np.arange(1, HARMONICS + 1)).ravel()
        out = np.empty(times.size)
        for k, w in enumerate(block):
            if found.speed[w] > SLOWEST:
                places = times * found.speed[w] * self.length / self.rate
                peaks_near(spectra[k], places, out)
                found.envelope[w, axis] = (self._envelope_scale * out).reshape(-1, HARMONICS)


def pulse_edges(
    batches: Iterable[NDArray[Any]], starts_s: ArrayLike, rate: float, lowest: int, highest: int
) -> Floats:
    """Moments at which the level of a shaft's pulse rises through the middle of its range.

    Parameters
    ----------
    batches : iterable of ndarray of int
        Counts of the level, batch by batch.
    starts_s : array_like
        Moment of the first sample of each batch. [s]
    rate : float
        Samples a second. [Hz]
    lowest, highest : int
        Counts between which the level moves. [1]

    Returns
    -------
    ndarray
        The moments, between two samples by linear interpolation. [s]

    Notes
    -----
    Never raises. The level has to fall below a quarter of the range before it can rise again.
    """
    low, high = (0.75 * lowest + 0.25 * highest, 0.25 * lowest + 0.75 * highest)
    found, is_high, previous = [np.empty(0)], True, 0
    for level, start in zip(batches, np.asarray(starts_s, dtype=np.float64), strict=True):
        values = level.ravel()
        if not values.size or highest <= lowest:
            continue
        out = np.empty(values.size // 2 + 1)
        count, is_high = rising_edges(values, low, high, (is_high, previous), out)
        found.append(start + out[:count] / rate)
        previous = int(values[-1])
    return np.concatenate(found)


def _hann(length: int) -> Floats:
    return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length))


def _shape(sums: tuple[float, ...], length: int) -> tuple[float, float]:
    """Give crest factor and kurtosis from sums of powers; NaN when nothing moves."""
    mean, second, third, fourth = (total / length for total in sums[:4])
    variance = second - mean**2
    if variance <= 0:
        return np.nan, np.nan
    middle = fourth - 4 * mean * third + 6 * mean**2 * second - 3 * mean**4
    return max(sums[5] - mean, mean - sums[4]) / np.sqrt(variance), middle / variance**2


def _speeds(
    begins: NDArray[np.int64], length: int, edges: Floats, per_rev: int
) -> tuple[Floats, NDArray[np.int64]]:
    """Give revolutions a sample in each window, and the edge before it where all edges are even."""
    index = np.full(begins.size, -1, dtype=np.int64)
    if edges.size < 2:
        return np.zeros(begins.size), index
    turned = np.arange(edges.size) / per_rev
    rise = np.interp(begins + length, edges, turned) - np.interp(begins, edges, turned)
    before = np.searchsorted(edges, begins, side="right") - 1
    after = np.searchsorted(edges, begins + length, side="left")
    for w in range(begins.size):
        if before[w] >= 0 and after[w] < edges.size and after[w] > before[w] + 1:
            apart = np.diff(edges[before[w] : after[w] + 1])
            if apart.max() <= UNEVEN * apart.min():
                index[w] = before[w]
    return rise / length, index
