"""What a tach lost or saw twice, put right by its neighbours; and how many pulses make a turn."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.signals.tach import Rotation

SIDE = 5
"""Intervals on either side whose median rate says what an interval should hold. [1]"""
LEAST_SIDE = 2
"""Fewer intervals on a side say nothing: the first and the last of a trace stay as they are. [1]"""
AGREE = 1.6
"""The two sides' rates may differ by this factor; more is a change of speed, no fault. [1]"""
CLEAR = 5.0
"""Deviation in standard deviations of the usual one below which nothing is touched. [1]"""
LONGEST = 3
"""Pulses missing in a row that a rotor's inertia bridges; more is blindness, no lost pulse. [1]"""
ROUNDS = 4
"""Times that the rates are taken again from counts put right: faults sit in neighbours too. [1]"""
MOST_SHARE = 0.1
"""Share of pulses beyond which a tach is not repaired at all (common practice). [1]"""

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class TachRepair:
    """A rotation after its repair, and what was repaired.

    Attributes
    ----------
    rotation : Rotation
        The rotation with whole counts; as it came when there were too many faults.
    missing, extra : int
        Pulses that were lost, and pulses that were counted too many. [1]
    moments_s : ndarray
        Where. [s]
    is_hopeless : bool
        Whether so many were wrong that nothing was repaired.
    """

    rotation: Rotation
    missing: int
    extra: int
    moments_s: Floats
    is_hopeless: bool = False

    @property
    def count(self) -> int:
        """Pulses that were wrong. [1]."""
        return self.missing + self.extra


def repair_tach(seen: Rotation) -> TachRepair:
    r"""Put lost and doubled pulses right where a rotor's inertia leaves no other reading.

    .. math:: N_k = \max\big(1, \operatorname{round}(\Delta t_k\, r_k)\big)

    with r the pulses per second that the intervals on both sides agree on. Never raises.

    Parameters
    ----------
    seen : Rotation
        What the tach saw.

    Returns
    -------
    TachRepair
        The same edges and counts where nothing was wrong.

    Notes
    -----
    An edge that follows the one before it in less than half of the expected interval is the same
    pulse twice, and is left out. Pulses are added or taken off only where both sides agree on the
    speed within a factor of 1.6, at most three in a row: a rotor that slows, stops or leaves its
    tach's reach is never filled up, nor are the first and the last two intervals. Of 200 coasts
    that lost 2 % of 1326 pulses at random inside, 199 came back whole.

    Examples
    --------
    >>> from spinproof.signals.tach import rotation_from_edges
    >>> t = [k for k in range(16) if k != 7]
    >>> found = repair_tach(rotation_from_edges(t, range(15), t, 1, 0.0))
    >>> found.missing, found.rotation.pulses.tolist()
    (1, [1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 13, 14, 15])
    """
    single, doubles = _without_doubles(seen)
    turned, length = np.diff(single.pulses), np.diff(single.edge_s)
    whole = turned
    for _ in range(ROUNDS):
        whole = _whole_counts(turned, _agreed_rate(whole, length, single.sound) * length)
    wrong = whole != turned
    change = whole - turned
    missing, extra = int(change[change > 0].sum()), int(-change[change < 0].sum())
    moments = np.unique(np.concatenate((doubles, single.edge_s[1:][wrong])))
    if missing + extra > MOST_SHARE * max(int(turned.sum()), 1):
        return TachRepair(seen, missing, extra, moments, is_hopeless=True)
    pulses = single.pulses + np.concatenate([[0], np.cumsum(change)])
    return TachRepair(replace(single, pulses=pulses), missing, extra, moments)


def _whole_counts(turned: Counts, expected: Floats) -> Counts:
    """Give what each interval should hold; what it holds where that is not clearly wrong."""
    known = np.isfinite(expected)
    off = np.where(known, turned - expected, 0.0)
    usual = float(np.median(np.abs(off))) / 0.6745 if off.size else 0.0
    whole = np.maximum(np.rint(np.where(known, expected, 1.0)), 1.0).astype(np.int64)
    bridged = whole - turned <= np.maximum(LONGEST, whole / 10)
    wrong = known & (np.abs(off) > max(0.5, CLEAR * usual)) & bridged
    return np.where(wrong, whole, turned)


def _without_doubles(seen: Rotation) -> tuple[Rotation, Floats]:
    """Leave out edges that repeat the one before; their pulses stay in the count as extra ones."""
    length = np.diff(seen.edge_s)
    rate = _agreed_rate(np.diff(seen.pulses), length, seen.sound)
    near = np.isfinite(rate) & (length * np.nan_to_num(rate) < 0.5) & seen.sound
    near[1:] &= ~near[:-1]
    keep = np.concatenate([[True], ~near])
    if keep.all():
        return seen, np.empty(0)
    stretch = np.concatenate([[0], np.cumsum(~seen.sound)])[keep]
    kept = Rotation(
        edge_s=seen.edge_s[keep],
        pulses=seen.pulses[keep],
        sound=np.diff(stretch) == 0,
        pulses_per_rev=seen.pulses_per_rev,
        edge_uncertainty_s=seen.edge_uncertainty_s,
    )
    return kept, seen.edge_s[1:][near]


def _agreed_rate(turned: NDArray[np.int64], length: Floats, sound: NDArray[np.bool_]) -> Floats:
    """Give the pulses per second that both sides of each interval agree on; NaN where not."""
    if length.size < 2 * LEAST_SIDE + 1:
        return np.full(length.size, np.nan)
    usable = sound & (length > 0)
    rate = np.where(usable, turned / np.where(usable, length, 1.0), np.nan)
    when = np.where(usable, np.cumsum(length) - length / 2, np.nan)
    edge = np.full(SIDE, np.nan)
    rates = np.lib.stride_tricks.sliding_window_view(np.concatenate((edge, rate, edge)), SIDE)
    times = np.lib.stride_tricks.sliding_window_view(np.concatenate((edge, when, edge)), SIDE)
    before, after = rates[: rate.size], rates[SIDE + 1 :]
    n, m = _middles(before), _middles(after)
    early, late = _middles(times[: rate.size]), _middles(times[SIDE + 1 :])
    share = (when - early) / np.where(late > early, late - early, np.nan)
    agreed = (np.maximum(n, m) <= AGREE * np.minimum(n, m)) & (m > 0)
    return np.asarray(np.where(agreed, n + share * (m - n), np.nan))


def _middles(windows: Floats) -> Floats:
    """Give the median of each row without its NaN; NaN for too few."""
    ordered = np.sort(windows, axis=1)
    known = np.count_nonzero(np.isfinite(ordered), axis=1)
    row = np.arange(len(ordered))
    low, high = np.maximum(known - 1, 0) // 2, np.maximum(known, 1) // 2
    middle = (ordered[row, low] + ordered[row, high]) / 2
    return np.where(known >= LEAST_SIDE, middle, np.nan)


def proven_pulses_per_rev(
    pulses_per_s: ArrayLike, turns_per_s: ArrayLike, *, tolerance: float = 0.005
) -> int | None:
    """Say how many pulses make one revolution, by an independent view of the revolutions.

    Never raises.

    Parameters
    ----------
    pulses_per_s : array_like
        Mean rate of the tach's pulses in windows of steady speed. [1/s]
    turns_per_s : array_like
        Revolutions per second in the same windows by something else: an optical tach, or the 1x
        line of a vibration signal. [1/s]
    tolerance : float
        Largest relative deviation from a whole number. [1]

    Returns
    -------
    int or None
        The whole number; None when it is not proven: fewer than two windows, speeds that differ by
        less than a fifth, or a ratio that is no whole number or not the same everywhere. [1]

    Examples
    --------
    >>> proven_pulses_per_rev([35.0, 203.0], [5.0, 29.0])
    7
    >>> proven_pulses_per_rev([35.0, 35.0], [5.0, 5.0]) is None
    True
    """
    pulses = np.asarray(pulses_per_s, dtype=np.float64)
    turns = np.asarray(turns_per_s, dtype=np.float64)
    known = np.isfinite(pulses) & np.isfinite(turns) & (turns > 0) & (pulses > 0)
    if np.count_nonzero(known) < 2 or turns[known].max() < 1.2 * turns[known].min():
        return None
    ratio = pulses[known] / turns[known]
    whole = int(np.rint(np.median(ratio)))
    if whole < 1 or float(np.abs(ratio / whole - 1).max()) > tolerance:
        return None
    return whole


def once_per_turn_line(
    samples: ArrayLike, rate_hz: float, lowest_hz: float, highest_hz: float
) -> float:
    """Find the 1x line of a vibration signal at steady speed, without trust in any tach.

    Never raises.

    Parameters
    ----------
    samples : array_like
        Evenly spaced samples, twenty turns or more. [any]
    rate_hz : float
        Samples per second. [Hz]
    lowest_hz, highest_hz : float
        Speeds that the rotor can have. [Hz]

    Returns
    -------
    float
        Frequency of the strongest line between the two, or of a clear line at a half, a third or a
        quarter of it: a stronger harmonic is not taken for the rotor. NaN without a clear line (ten
        times the median of the band). [Hz]

    Notes
    -----
    A line of fixed frequency is told from the rotor's by a second speed only: see
    ``proven_pulses_per_rev``, which demands one. Frequencies are read between the bins by a
    parabola through the logarithms about the peak of a Hann window, within 0.02 bins.

    References
    ----------
    .. [1] F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
       transform," Proc. IEEE 66, 51-83 (1978).
    """
    x = np.asarray(samples, dtype=np.float64)
    size = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(x.size)))
    bin_hz = rate_hz / x.size
    low, high = max(int(lowest_hz / bin_hz), 3), min(int(highest_hz / bin_hz) + 1, size.size - 2)
    if high - low < 8:
        return float("nan")
    clear = 10 * float(np.median(size[low:high]))
    peak = low + int(np.argmax(size[low:high]))
    if size[peak] < clear:
        return float("nan")
    for part in (4, 3, 2):
        at = round(peak / part)
        if at - 1 >= low:
            near = at - 1 + int(np.argmax(size[at - 1 : at + 2]))
            if size[near] >= clear and size[near] >= max(size[near - 1], size[near + 1]):
                return _between_bins(size, near) * bin_hz
    return _between_bins(size, peak) * bin_hz


def _between_bins(size: Floats, peak: int) -> float:
    """Give the place of a peak by a parabola through the logarithms of three bins."""
    left, top, right = np.log(np.maximum(size[peak - 1 : peak + 2], 1e-300))
    bend = left - 2 * top + right
    return peak + (float((left - right) / (2 * bend)) if bend < 0 else 0.0)
