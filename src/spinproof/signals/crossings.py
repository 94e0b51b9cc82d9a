"""Moments at which a signal crosses a level, or a digital input changes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def crossing_times(
    time: ArrayLike, value: ArrayLike, level: float, *, rising: bool
) -> NDArray[np.float64]:
    """Moments at which a signal crosses a level in one direction.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal; NaN readings are left out. [unit]
    level : float
        The level. [unit]
    rising : bool
        Whether crossings from below are meant, or from above.

    Returns
    -------
    ndarray
        Moments, by linear interpolation between samples. [s]

    Examples
    --------
    >>> crossing_times([0.0, 1.0, 2.0], [0.0, 4.0, 0.0], 1.0, rising=False).tolist()
    [1.75]
    """
    t, v = np.asarray(time, dtype=np.float64), np.asarray(value, dtype=np.float64)
    known = np.isfinite(v)
    t, v = t[known], v[known]
    above = v >= level if rising else v > level
    first = np.flatnonzero((above[1:] > above[:-1]) if rising else (above[1:] < above[:-1]))
    share = (level - v[first]) / (v[first + 1] - v[first])
    return np.asarray(t[first] + share * (t[first + 1] - t[first]))


def change_times(
    time: ArrayLike, state: ArrayLike, *, rising: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Moments at which a digital input changes, each with its largest error.

    Never raises.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    state : array_like of bool
        The input at each sample.
    rising : bool
        Whether changes to true are meant, or to false.

    Returns
    -------
    tuple of ndarray
        Middle between the last sample of the old state and the first of the new one, and the
        distance of these two: the moment lies within half of it, the rest is left for the
        latency of a scan. [s]

    Examples
    --------
    >>> moments, errors = change_times([0.0, 1.0, 2.0], [False, False, True], rising=True)
    >>> moments.tolist(), errors.tolist()
    ([1.5], [1.0])
    """
    t, s = np.asarray(time, dtype=np.float64), np.asarray(state, dtype=np.bool_)
    first = np.flatnonzero((s[1:] & ~s[:-1]) if rising else (~s[1:] & s[:-1]))
    return (t[first] + t[first + 1]) / 2, t[first + 1] - t[first]
