"""The clock of a device against that of its listener, from what arrived and when."""

from dataclasses import dataclass
from math import hypot, inf, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.stats.straight_line import calibration_line
from spinproof.stats.validity import require

USUAL_DRIFT = 2e-4
"""Standard deviation of the drift of clocks before anything was seen of them. [1]

A quartz is good to some 20 to 100 ppm over temperature and age; twice that is taken. Common
practice, no source.
"""
STRETCHES = 16
"""Number of stretches whose quickest messages are compared. [1]"""
_SOUND = 1e-3
"""A drift beyond it is no drift of a clock but another rate. [1]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ClockLine:
    """The line arrival = offset + pace x device, under all messages.

    Attributes
    ----------
    offset : float
        The listener's time when the device's clock stood at zero. [s]
    pace : float
        Seconds of the listener in a second of the device. [1]
    offset_uncertainty, drift_uncertainty : float
        Standard uncertainties of the offset [s] and of the pace [1].
    widest_delay : float
        How much longer than the quickest message the slowest took. [s]
    messages : int
        Number of messages. [1]
    """

    offset: float
    pace: float
    offset_uncertainty: float
    drift_uncertainty: float
    widest_delay: float
    messages: int

    @property
    def drift(self) -> float:
        """Share of time that passes too much on the device's clock. [1]."""
        return 1 / self.pace - 1


def clock_line(device: ArrayLike, arrival: ArrayLike) -> ClockLine:
    r"""Line under the arrivals of messages: their least delay is taken as the same all along.

    .. math:: \max_{a,b} \sum_i (a + b\,x_i) \quad\text{with}\quad a + b\,x_i \le y_i

    Parameters
    ----------
    device : array_like
        The device's clock when each message was ready, at least one. [s]
    arrival : array_like
        The listener's clock when it arrived. [s]

    Returns
    -------
    ClockLine
        Offset and pace with standard uncertainties.

    Raises
    ------
    OutOfRangeError
        If there is no message, the numbers differ, or one is not finite.

    Notes
    -----
    Valid while both clocks run evenly; a step has to be taken out before. The answer is the edge
    of the lower convex hull below the mean device time. How well it is known comes from the
    scatter of the quickest messages of 16 stretches of time, and is at least the mean delay over
    the number of messages. Few or unsteady messages tell less
    of a drift than is known of quartz clocks anyway, so the drift is weighed with a prior of mean
    0 and standard deviation 200 ppm, unless it is another rate altogether. The least delay itself
    cannot be seen from one side: it stays in the offset.

    References
    ----------
    .. [1] S. B. Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network
       delay measurements," Proc. IEEE INFOCOM 1999, 227-234 (from memory).

    Examples
    --------
    >>> line = clock_line([0, 1, 2, 3], [5.0, 6.3, 7.0, 8.1])
    >>> round(line.offset, 3), round(line.widest_delay, 3)
    (5.0, 0.3)
    """
    x, y = np.asarray(device, dtype=np.float64), np.asarray(arrival, dtype=np.float64)
    require(
        x.ndim == 1
        and x.shape == y.shape
        and x.size > 0
        and bool(np.isfinite(x).all() and np.isfinite(y).all()),
        "these messages tell nothing of a clock",
        where="clock_line",
        mend="Give at least one message with finite times on both clocks.",
    )
    order = np.lexsort((y, x))
    x, y = x[order], y[order]
    pace, of_pace = _edge_pace(x, y)
    pace, of_pace = _weighed(pace, of_pace)
    delays = y - pace * x
    touch = int(np.argmin(delays))
    offset = float(delays[touch])
    scatter = max(float(_quickest(x, delays)[1].std()), float(delays.mean() - offset) / x.size)
    return ClockLine(
        offset=offset,
        pace=pace,
        offset_uncertainty=hypot(scatter, of_pace * float(x[touch])),
        drift_uncertainty=of_pace,
        widest_delay=float(delays.max()) - offset,
        messages=x.size,
    )


def _edge_pace(x: Floats, y: Floats) -> tuple[float, float]:
    # The pace of the hull's edge below the mean, and its standard uncertainty.
    if x.size < 3 or x[-1] <= x[0]:
        return 1.0, inf
    hull = _lower_hull(x, y)
    right = min(max(int(np.searchsorted(x[hull], x.mean())), 1), len(hull) - 1)
    i, j = hull[right - 1], hull[right]
    pace = float((y[j] - y[i]) / (x[j] - x[i]))
    delays = y - pace * x
    places, quickest = _quickest(x, delays)
    if pace <= 0 or np.ptp(places) <= 0:
        return 1.0, inf
    least = float(delays.mean() - delays.min()) / x.size / float(x.std())
    return pace, max(calibration_line(places, quickest).slope_uncertainty, least)


def _lower_hull(x: Floats, y: Floats) -> list[int]:
    hull: list[int] = []
    for k in range(x.size):
        if hull and x[hull[-1]] == x[k]:
            continue
        while len(hull) > 1:
            i, j = hull[-2], hull[-1]
            if (y[j] - y[i]) * (x[k] - x[i]) < (y[k] - y[i]) * (x[j] - x[i]):
                break
            hull.pop()
        hull.append(k)
    return hull


def _quickest(x: Floats, delays: Floats) -> tuple[Floats, Floats]:
    stretches = np.array_split(np.arange(x.size), min(STRETCHES, max(3, x.size // 4)))
    quickest = [part[np.argmin(delays[part])] for part in stretches if part.size]
    return x[quickest], delays[quickest]


def _weighed(pace: float, of_pace: float) -> tuple[float, float]:
    """Weigh a pace with what is known of quartz clocks."""
    if of_pace == inf:
        return 1.0, USUAL_DRIFT
    if abs(pace - 1) > _SOUND + 3 * of_pace:
        return pace, of_pace
    share = USUAL_DRIFT**2 / (USUAL_DRIFT**2 + of_pace**2)
    return 1 + share * (pace - 1), sqrt(share) * of_pace
