"""Speed from the pulses of a tach: rolling counts and the moments of edges.

Between two edges the mean speed is exact but for the timing of the edges, however few pulses there
are. Without a new edge there is no speed, only an upper bound that falls with the waiting time.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError

JITTER = 0.002
"""What a scan may be late without its clock being doubted. [s]"""


@dataclass(frozen=True, eq=False)
class Rotation:
    """What a tach saw: moments of edges, and the pulses counted up to each.

    Attributes
    ----------
    edge_s : ndarray
        Moments of those edges that were seen, increasing. [s]
    pulses : ndarray
        Pulses counted up to each edge, increasing. [1]
    sound : ndarray of bool
        For each interval between edges, whether its clock can be trusted.
    pulses_per_rev : int
        Pulses in one revolution. [1]
    edge_uncertainty_s : float
        Standard uncertainty of the moment of an edge. [s]
    """

    edge_s: NDArray[np.float64]
    pulses: NDArray[np.int64]
    sound: NDArray[np.bool_]
    pulses_per_rev: int
    edge_uncertainty_s: float

    @property
    def turned(self) -> bool:
        """Whether at least one interval between edges was seen."""
        return bool(self.sound.any())

    @cached_property
    def time_s(self) -> NDArray[np.float64]:
        """Middle of each trusted interval, where a steady ramp has the mean speed, in seconds."""
        middle = (self.edge_s[1:] + self.edge_s[:-1]) / 2
        return np.asarray(middle[self.sound])

    @cached_property
    def length_s(self) -> NDArray[np.float64]:
        """Length of each trusted interval, in seconds."""
        return np.asarray(np.diff(self.edge_s)[self.sound])

    @cached_property
    def speed_rpm(self) -> NDArray[np.float64]:
        """Mean speed over each trusted interval, in rpm."""
        turned = np.diff(self.pulses)[self.sound]
        return np.asarray(60 * turned / (self.pulses_per_rev * self.length_s))

    @cached_property
    def uncertainty_rpm(self) -> NDArray[np.float64]:
        """Standard uncertainty of each speed from the timing of its two edges, in rpm."""
        return np.asarray(self.speed_rpm * np.sqrt(2) * self.edge_uncertainty_s / self.length_s)


def unwrap_counter(counts: ArrayLike, bits: int) -> NDArray[np.int64]:
    """Continue a rolling counter beyond its largest value.

    Parameters
    ----------
    counts : array_like of int
        Readings of a counter that only counts up and starts again at zero. [1]
    bits : int
        Width of the counter, 1 to 62. [1]

    Returns
    -------
    ndarray
        Readings that never decrease, equal to the counts up to the first roll-over. [1]

    Raises
    ------
    OutOfRangeError
        If a reading does not fit the width; ``mask`` marks it.

    Notes
    -----
    Holds while less than half a round passes between two readings. A count that falls back
    further was started anew: it adds nothing at that reading, and goes on from there.

    Examples
    --------
    >>> unwrap_counter([65530, 65535, 4, 10], 16).tolist()
    [65530, 65535, 65540, 65546]
    """
    readings = np.asarray(counts, dtype=np.int64)
    misfit = (readings < 0) | (readings >= 1 << bits)
    if misfit.any():
        raise OutOfRangeError(
            f"{np.count_nonzero(misfit)} of {misfit.size} readings do not fit {bits} bits",
            where="unwrap_counter",
            mend="Give the type of the counter as the device sends it.",
            mask=misfit,
        )
    if readings.size == 0:
        return readings
    steps = np.diff(readings) & ((1 << bits) - 1)
    steps[steps >= 1 << (bits - 1)] = 0
    return np.concatenate([readings[:1], readings[0] + np.cumsum(steps)])


def rotation_from_edges(
    time: ArrayLike,
    pulses: ArrayLike,
    edge: ArrayLike,
    pulses_per_rev: int,
    edge_uncertainty: float,
) -> Rotation:
    """Take the edges out of samples of a pulse count and of the moment of the last pulse.

    Never raises.

    Parameters
    ----------
    time : array_like
        Moment of each sample. [s]
    pulses : array_like of int
        Pulses counted so far, unwrapped. [1]
    edge : array_like
        Moment of the last pulse by the device's clock, unwrapped, with any origin. [s]
    pulses_per_rev : int
        Pulses in one revolution. [1]
    edge_uncertainty : float
        Standard uncertainty of the moment of an edge. [s]

    Returns
    -------
    Rotation
        The edges on the time axis of the samples.

    Notes
    -----
    An interval is not trusted where the device's clock disagrees with the samples' time by more
    than the samples' spacing explains: the clock was set meanwhile. An edge precedes the sample
    that shows it; the shortest delay of each trusted stretch is taken as none.
    """
    t, n, e = (np.asarray(a) for a in (time, pulses, edge))
    new = np.flatnonzero(np.diff(n) > 0) + 1
    if new.size < 2:
        empty = np.empty(0)
        nothing = (empty, empty.astype(np.int64), np.empty(0, dtype=np.bool_))
        return Rotation(*nothing, pulses_per_rev, edge_uncertainty)
    spacing = (t[new] - t[new - 1])[1:] + (t[new] - t[new - 1])[:-1]
    advance = np.diff(e[new])
    sound = (np.abs(advance - np.diff(t[new])) <= spacing + JITTER) & (advance > 0)
    stretch = np.concatenate([[0], np.cumsum(~sound)])
    delay = t[new] - e[new]
    shortest = np.full(stretch[-1] + 1, np.inf)
    np.minimum.at(shortest, stretch, delay)
    moments = e[new] + shortest[stretch]
    sound &= np.diff(moments) > 0
    return Rotation(moments, n[new].astype(np.int64), sound, pulses_per_rev, edge_uncertainty)


def speed_upper_bound(rotation: Rotation, moment: float) -> float:
    r"""Upper bound of the speed at a moment, from the time since the last pulse.

    .. math:: n \le \frac{60}{P\,(t - t_\mathrm{last})}

    Never raises.

    Parameters
    ----------
    rotation : Rotation
        What the tach saw.
    moment : float
        The moment t. [s]

    Returns
    -------
    float
        The bound; infinite when no pulse came before the moment. [rpm]

    Notes
    -----
    Holds only while the tach sees every pulse: a tach that stopped seeing pulses looks like a
    rotor at rest. Compare with the speed at its last pulse before it is believed.

    Examples
    --------
    >>> seen = rotation_from_edges([0.0, 1.0, 2.0], [0, 1, 2], [0.0, 1.0, 2.0], 1, 0.0)
    >>> speed_upper_bound(seen, 8.0)
    10.0
    """
    before = rotation.edge_s[rotation.edge_s < moment]
    if before.size == 0:
        return float("inf")
    return 60 / (rotation.pulses_per_rev * (moment - float(before[-1])))


def last_pulse(rotation: Rotation) -> tuple[float, float]:
    """Give the moment of the last pulse, and the speed at it.

    Never raises.

    Parameters
    ----------
    rotation : Rotation
        What the tach saw.

    Returns
    -------
    tuple of float
        Moment of the last pulse, and speed at it: the mean speed over the last interval,
        carried on to its end by the deceleration before it. NaN when the tach never turned.
        [s], [rpm]
    """
    if not rotation.turned:
        return float("nan"), float("nan")
    moment = float(rotation.edge_s[-1])
    time, speed = rotation.time_s[-2:], rotation.speed_rpm[-2:]
    if speed.size < 2:
        return moment, float(speed[-1])
    slope = (speed[1] - speed[0]) / (time[1] - time[0])
    carried = speed[1] + slope * (moment - time[1])
    return moment, float(np.clip(carried, 0, speed[1]))


def mean_speed(rotation: Rotation, start: float, end: float) -> tuple[float, float]:
    """Mean speed between the first and the last edge inside a span of time.

    Never raises.

    Parameters
    ----------
    rotation : Rotation
        What the tach saw.
    start, end : float
        The span. [s]

    Returns
    -------
    tuple of float
        Mean speed, and its standard uncertainty from the timing of two edges; NaN when the span
        holds no trusted interval. [rpm]
    """
    inside = (rotation.edge_s[:-1] >= start) & (rotation.edge_s[1:] <= end) & rotation.sound
    if not inside.any():
        return float("nan"), float("nan")
    pulses = np.diff(rotation.pulses)[inside].sum()
    elapsed = float(np.diff(rotation.edge_s)[inside].sum())
    speed = float(60 * pulses / (rotation.pulses_per_rev * elapsed))
    return speed, speed * float(np.sqrt(2)) * rotation.edge_uncertainty_s / elapsed
