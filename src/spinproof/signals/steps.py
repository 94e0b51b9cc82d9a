"""Terms of a step response on sampled signals, with the initial and final level known.

Words follow IEEE Std 181: a transition leads from the initial to the final level, crosses
proximal and distal reference levels, may overshoot, and settles into a band around the final level.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.signals.crossings import crossing_times
from spinproof.signals.means import slope_of

PROXIMAL, DISTAL = 0.1, 0.9
"""Reference levels of a transition, as shares of it."""


def transition_duration(time: ArrayLike, value: ArrayLike, initial: float, final: float) -> float:
    """Time from the first crossing of 10 % to the first crossing of 90 % of the transition.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal. [unit]
    initial, final : float
        Levels before and after the transition. [unit]

    Returns
    -------
    float
        Duration; NaN when a level is not crossed. [s]

    References
    ----------
    .. [1] IEEE Std 181-2011, Standard for Transitions, Pulses, and Related Waveforms.

    Examples
    --------
    >>> transition_duration([0.0, 1.0, 2.0], [0.0, 10.0, 10.0], 0.0, 10.0)
    0.8
    """
    low, high = _reference_times(time, value, initial, final)
    return high - low


def ramp_rate(
    time: ArrayLike, value: ArrayLike, initial: float, final: float
) -> tuple[float, float]:
    """Slope of a transition between its 10 % and 90 % levels, by least squares.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal. [unit]
    initial, final : float
        Levels before and after the transition. [unit]

    Returns
    -------
    tuple of float
        Slope, and its standard uncertainty from the scatter about the line, neighbours that
        resemble one another allowed for; NaN when the transition is not crossed, or holds fewer
        than three samples. [unit/s]

    References
    ----------
    .. [1] IEEE Std 181-2011, Standard for Transitions, Pulses, and Related Waveforms.

    Examples
    --------
    >>> slope, _ = ramp_rate([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], [0, 10, 20, 30, 40, 40], 0, 40)
    >>> round(slope, 9)
    10.0
    """
    t, v = np.asarray(time, dtype=np.float64), np.asarray(value, dtype=np.float64)
    low, high = _reference_times(t, v, initial, final)
    inside = (t >= low) & (t <= high) & np.isfinite(v)
    count = int(np.count_nonzero(inside))
    if count < 3:
        return float("nan"), float("nan")
    return slope_of(t[inside], v[inside])


def overshoot(value: ArrayLike, initial: float, final: float) -> float:
    """Largest excursion beyond the final level, in the direction of the transition.

    Never raises.

    Parameters
    ----------
    value : array_like
        The signal from the transition on; NaN readings are left out. [unit]
    initial, final : float
        Levels before and after the transition. [unit]

    Returns
    -------
    float
        Excursion, zero when there is none; NaN without any reading. [unit]

    References
    ----------
    .. [1] IEEE Std 181-2011, Standard for Transitions, Pulses, and Related Waveforms.

    Examples
    --------
    >>> overshoot([0.0, 9.0, 11.5, 10.0], 0.0, 10.0)
    1.5
    """
    v = np.asarray(value, dtype=np.float64)
    v = v[np.isfinite(v)]
    if v.size == 0:
        return float("nan")
    beyond = v - final if final >= initial else final - v
    return max(float(beyond.max()), 0.0)


def first_entry(time: ArrayLike, value: ArrayLike, final: float, band: float) -> float:
    """Moment at which a signal is first inside a band.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal; NaN readings are left out. [unit]
    final : float
        Middle of the band. [unit]
    band : float
        Half-width of the band. [unit]

    Returns
    -------
    float
        Moment, by linear interpolation; NaN when the signal never enters. [s]

    Examples
    --------
    >>> first_entry([0.0, 1.0, 2.0], [0.0, 10.0, 10.0], 10.0, 1.0)
    0.9
    """
    t, off = _known_offsets(time, value, final)
    if off.size and off[0] <= band:
        return float(t[0])
    entries = crossing_times(t, off, band, rising=False)
    return float(entries[0]) if entries.size else float("nan")


def settling_moment(time: ArrayLike, value: ArrayLike, final: float, band: float) -> float:
    """Moment of the last entry into a band around the final level.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal; NaN readings are left out. [unit]
    final : float
        Middle of the band. [unit]
    band : float
        Half-width of the band. [unit]

    Returns
    -------
    float
        Moment, by linear interpolation; the first sample's time when the signal never leaves
        the band, NaN when it ends outside. [s]

    References
    ----------
    .. [1] IEEE Std 181-2011, Standard for Transitions, Pulses, and Related Waveforms.

    Examples
    --------
    >>> settling_moment([0.0, 1.0, 2.0, 3.0], [0.0, 12.0, 10.0, 10.0], 10.0, 1.0)
    1.5
    """
    t, off = _known_offsets(time, value, final)
    if off.size == 0 or off[-1] > band:
        return float("nan")
    entries = crossing_times(t, off, band, rising=False)
    return float(entries[-1]) if entries.size else float(t[0])


def time_in_band(time: ArrayLike, value: ArrayLike, low: float, high: float) -> float:
    """Total time that a piecewise-linear signal spends inside a band.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal; NaN readings are left out. [unit]
    low, high : float
        The band, its ends included. [unit]

    Returns
    -------
    float
        Time inside. [s]

    Examples
    --------
    >>> time_in_band([0.0, 10.0, 20.0], [0.0, 100.0, 100.0], 90.0, 110.0)
    11.0
    """
    t, v = _known_offsets(time, value, 0.0, signed=True)
    if t.size < 2:
        return 0.0
    rise = np.diff(v)
    level = rise == 0
    safe = np.where(level, 1.0, rise)
    first, second = (low - v[:-1]) / safe, (high - v[:-1]) / safe
    entered = np.clip(np.minimum(first, second), 0, 1)
    left = np.clip(np.maximum(first, second), 0, 1)
    flat = ((v[:-1] >= low) & (v[:-1] <= high)).astype(np.float64)
    return float(np.sum(np.diff(t) * np.where(level, flat, left - entered)))


def _reference_times(
    time: ArrayLike, value: ArrayLike, initial: float, final: float
) -> tuple[float, float]:
    share = (np.asarray(value, dtype=np.float64) - initial) / (final - initial or np.nan)
    moments = [crossing_times(time, share, level, rising=True) for level in (PROXIMAL, DISTAL)]
    low, high = (float(m[0]) if m.size else float("nan") for m in moments)
    return low, high


def _known_offsets(
    time: ArrayLike, value: ArrayLike, final: float, *, signed: bool = False
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    t, off = np.asarray(time, dtype=np.float64), np.asarray(value, dtype=np.float64) - final
    known = np.isfinite(off)
    return t[known], off[known] if signed else np.abs(off[known])
