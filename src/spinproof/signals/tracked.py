"""Vibration at the speed of the shaft, tracked by a tach, span by span."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from spinproof.signals.orders import shaft_angle, steady_vectors
from spinproof.stats.validity import require

_LONGEST = 1.5
"""Longest interval of pulses over the median from which a pulse counts as missing. [1]"""
_BEYOND = 3
"""Pulses on either side that steady the angle at the ends of a span. [1]"""


class Tracked(NamedTuple):
    """What turns with the shaft in a span of time."""

    speed: float
    """Mean speed. [rev/s]"""
    velocity: float
    """Root mean square velocity at that speed (order 1). [m/s]"""


def tracked_velocity(
    acceleration: ArrayLike, start: float, rate: float, edges: ArrayLike, pulses_per_rev: int
) -> Tracked | None:
    r"""Velocity at the speed of the shaft, from acceleration and the moments of tach pulses.

    .. math:: v = \frac{|A_1|}{\sqrt{2}\, 2 \pi n}

    Parameters
    ----------
    acceleration : array_like
        Samples of the span. [m/s2]
    start : float
        Moment of the first. [s]
    rate : float
        Samples a second. [Hz]
    edges : array_like
        Increasing moments of tach pulses, beyond the span too. [s]
    pulses_per_rev : int
        Pulses in a revolution. [1]

    Returns
    -------
    Tracked or None
        None where the pulses do not tell: less than two revolutions, a pulse missing or doubled.

    Raises
    ------
    OutOfRangeError
        If rate or pulses a revolution are not positive.

    Notes
    -----
    Holds for a speed that changes by little within the span: the angle follows the tach, the
    acceleration is turned to velocity at the mean speed.
    """
    require(
        rate > 0 and pulses_per_rev >= 1,
        f"{rate:g} samples a second, {pulses_per_rev} pulses a revolution",
        where="tracked_velocity",
        mend="Give a rate above zero and at least one pulse a revolution.",
    )
    x, tach = np.asarray(acceleration, dtype=np.float64), np.asarray(edges, dtype=np.float64)
    first, last = np.searchsorted(tach, (start, start + x.size / rate))
    if last - first <= 2 * pulses_per_rev:
        return None
    near = tach[max(first - _BEYOND, 0) : last + _BEYOND]
    apart = np.diff(near)
    middle = float(np.median(apart))
    if apart.max() > _LONGEST * middle or apart.min() < middle / _LONGEST:
        return None
    inside = tach[first:last]
    speed = (inside.size - 1) / float(inside[-1] - inside[0]) / pulses_per_rev
    angle = shaft_angle(start + np.arange(x.size) / rate, near, pulses_per_rev)
    amplitude = float(np.abs(steady_vectors(x, angle)[0]))
    return Tracked(speed, amplitude / np.sqrt(2) / (2 * np.pi * speed))
