"""The two state levels of a step that a signal takes, from the signal alone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.signals.steps import DISTAL, PROXIMAL, settling_moment, transition_duration
from spinproof.stats.validity import require

BINS = 256
"""Bins of the histogram of all readings. [1]"""
FEWEST = 20
"""Readings below which a histogram has no modes. [1]"""
LEAST_STEP = 4.0
"""Levels nearer than this many times the median deviation from them are one level. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Step:
    """A step by the terms of IEEE Std 181.

    Attributes
    ----------
    low, high : float
        State levels: where the signal spends its time. [unit]
    rises : bool
        Whether it goes from the low state to the high one.
    duration_s : float
        Transition duration between the reference levels at 10 and 90 %; NaN when it does not
        cross them. [s]
    overshoot, undershoot : float
        Largest excursion beyond the final state after the transition, and short of it again, both
        in percent of the step's amplitude. [%]
    settled_s : float
        Moment of the last entry into the band about the final state; NaN when it ends outside. [s]
    """

    low: float
    high: float
    rises: bool
    duration_s: float
    overshoot: float
    undershoot: float
    settled_s: float

    @property
    def amplitude(self) -> float:
        """Difference of the two states. [unit]."""
        return self.high - self.low

    @property
    def levels(self) -> tuple[float, float]:
        """Reference levels at 10 and 90 % of the step, in the order in which it passes them."""
        share = (PROXIMAL, DISTAL) if self.rises else (DISTAL, PROXIMAL)
        first, second = (self.low + part * self.amplitude for part in share)
        return first, second


def state_levels(value: ArrayLike) -> tuple[float, float]:
    """Low and high state of a signal, by the two modes of its histogram.

    Parameters
    ----------
    value : array_like
        Readings of a signal that stays at two levels for most of the time; NaN are left out. [unit]

    Returns
    -------
    tuple of float
        Low and high state level, each the mean of the readings within two bins of its mode. [unit]

    Raises
    ------
    OutOfRangeError
        If there are fewer than twenty readings, or they show one level only.

    Notes
    -----
    The histogram between the extremes is split in the middle, as the standard does. Where a signal
    overshoots far, or rings, the extremes move the middle; the modes stay. Resolution: 1/256 of
    the span before the mean.

    References
    ----------
    .. [1] IEEE Std 181-2011, 5.2 (histogram modes; cited from memory).

    Examples
    --------
    >>> state_levels([0.0] * 30 + [5.0] + [10.0] * 30)
    (0.0, 10.0)
    """
    v = np.asarray(value, dtype=np.float64)
    v = v[np.isfinite(v)]
    require(
        v.size >= FEWEST and float(np.ptp(v)) > 0,
        f"{v.size} readings, or readings that are all the same, show no two states",
        where="state_levels",
        mend=f"Give at least {FEWEST} readings before and after a step.",
    )
    count, edge = np.histogram(v, bins=BINS)
    middle = BINS // 2
    low = _mode(v, count[:middle], edge[: middle + 1])
    high = _mode(v, count[middle:], edge[middle:])
    halves = v[v < edge[middle]], v[v >= edge[middle]]
    scatter = max(
        float(np.median(np.abs(half - level)))
        for half, level in zip(halves, (low, high), strict=True)
    )
    require(
        high - low > LEAST_STEP * scatter,
        "the readings show one state only",
        where="state_levels",
        mend="Give readings from well before to well after the step.",
    )
    return low, high


def step_of(time: ArrayLike, value: ArrayLike, band_percent: float = 2.0) -> Step:
    """Describe the one step that a signal takes.

    Parameters
    ----------
    time : array_like
        Increasing times of the samples. [s]
    value : array_like
        The signal, from before the step until it has settled; NaN are left out. [unit]
    band_percent : float
        Half-width of the settling band, in percent of the step's amplitude. [%]

    Returns
    -------
    Step
        The step in the terms of the standard.

    Raises
    ------
    OutOfRangeError
        If the readings show no two states.

    References
    ----------
    .. [1] IEEE Std 181-2011, Standard for Transitions, Pulses, and Related Waveforms.
    """
    t, v = np.asarray(time, dtype=np.float64), np.asarray(value, dtype=np.float64)
    known = np.isfinite(v)
    t, v = t[known], v[known]
    low, high = state_levels(v)
    rises = bool(np.abs(v[0] - low) < np.abs(v[0] - high))
    initial, final = (low, high) if rises else (high, low)
    share = (v - initial) / (final - initial)
    entered = np.flatnonzero(share >= DISTAL)
    after = share[entered[0] :] if entered.size else share[:0]
    top = int(np.argmax(after)) if after.size else 0
    beyond = max(float(after[top]) - 1, 0.0) if after.size else 0.0
    short = max(1 - float(after[top:].min()), 0.0) if beyond > 0 else 0.0
    return Step(
        low=low,
        high=high,
        rises=rises,
        duration_s=transition_duration(t, v, initial, final),
        overshoot=100 * beyond,
        undershoot=100 * short,
        settled_s=settling_moment(t, v, final, band_percent / 100 * (high - low)),
    )


def _mode(values: Floats, count: NDArray[np.int64], edge: Floats) -> float:
    """Give the mean of the readings within two bins of the fullest bin."""
    fullest = int(np.argmax(count))
    first, last = edge[max(fullest - 2, 0)], edge[min(fullest + 3, edge.size - 1)]
    return float(values[(values >= first) & (values <= last)].mean())
