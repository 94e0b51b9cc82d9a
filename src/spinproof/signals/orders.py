"""Vibration against the turning of the shaft: angles from a tach, orders, the 1x vector."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from spinproof.stats.validity import require

Floats = NDArray[np.float64]
Vectors = NDArray[np.complex128]


def shaft_angle(time: ArrayLike, edges: ArrayLike, pulses_per_rev: int) -> Floats:
    """Angle of the shaft at given moments, from the moments of tach edges.

    Parameters
    ----------
    time : array_like
        Moments. [s]
    edges : array_like
        Increasing moments of the tach's edges, none missing. [s]
    pulses_per_rev : int
        Edges in a revolution. [1]

    Returns
    -------
    ndarray
        Angle since the first edge; NaN before the first and after the last. [rad]

    Raises
    ------
    OutOfRangeError
        If there are fewer than four edges, or they do not increase.

    Notes
    -----
    A cubic spline through the edges. Linear interpolation errs by more than a degree in the
    first revolution of a fast ramp.
    """
    t, tach = np.asarray(time, dtype=np.float64), _edges(edges, pulses_per_rev, "shaft_angle")
    turned = 2 * np.pi / pulses_per_rev * np.arange(tach.size)
    return np.asarray(CubicSpline(tach, turned, extrapolate=False)(t))


def order_vectors(
    time: ArrayLike,
    signal: ArrayLike,
    edges: ArrayLike,
    pulses_per_rev: int,
    orders: ArrayLike,
    revolutions: int | None = None,
    samples_per_rev: int = 64,
) -> Vectors:
    r"""Vectors of orders over whole revolutions, resampled at equal angles.

    .. math:: X_o = \frac{2}{N} \sum_j x(\theta_j)\, e^{-i o \theta_j}

    Parameters
    ----------
    time, signal : array_like
        Moments of the samples, and the samples. [s], [any]
    edges : array_like
        Increasing moments of the tach's edges. [s]
    pulses_per_rev : int
        Edges in a revolution. [1]
    orders : array_like
        Multiples of the shaft's frequency. [1]
    revolutions : int, optional
        How many revolutions, the last ones; all whole ones without it. [1]
    samples_per_rev : int
        Samples in a revolution, more than twice the highest order. [1]

    Returns
    -------
    ndarray of complex
        One vector an order: its magnitude is the amplitude (peak), the negative of its angle
        the lag from the tach's edge to the next positive peak. [any]

    Raises
    ------
    OutOfRangeError
        If there is no whole revolution inside the samples, or too few samples a revolution.

    References
    ----------
    .. [1] K. R. Fyfe and E. D. S. Munck, "Analysis of computed order tracking," Mech. Syst.
       Signal Process. 11, 187-205 (1997; cited from memory).
    """
    t, x = np.asarray(time, dtype=np.float64), np.asarray(signal, dtype=np.float64)
    tach = _edges(edges, pulses_per_rev, "order_vectors")
    o = np.atleast_1d(np.asarray(orders, dtype=np.float64))
    tach = tach[(tach >= t[0]) & (tach <= t[-1])] if t.size else tach[:0]
    whole = (tach.size - 1) // pulses_per_rev
    wanted = whole if revolutions is None else revolutions
    require(
        1 <= wanted <= whole and samples_per_rev > 2 * float(np.abs(o).max(initial=0.0)),
        f"{whole} whole revolutions lie inside the samples, and {wanted} are asked for, with"
        f" {samples_per_rev} samples in each",
        where="order_vectors",
        mend="Record longer, ask for fewer revolutions, or take more samples a revolution.",
    )
    turned = 2 * np.pi / pulses_per_rev * np.arange(tach.size)
    last = 2 * np.pi * whole
    angle = (
        last
        - 2 * np.pi * wanted
        + 2 * np.pi / samples_per_rev * np.arange(wanted * samples_per_rev)
    )
    moments = CubicSpline(turned, tach)(angle)
    values = CubicSpline(t, x)(moments)
    return np.asarray(2 / angle.size * (np.exp(-1j * np.outer(o, angle)) @ values))


def steady_vectors(signal: ArrayLike, angle: ArrayLike, harmonics: int = 2) -> Vectors:
    r"""Vectors of the first orders at steady speed, by least squares.

    Parameters
    ----------
    signal : array_like
        Samples; those without an angle are left out. [any]
    angle : array_like
        Angle of the shaft at each. [rad]
    harmonics : int
        How many orders are fitted at once, from the first. [1]

    Returns
    -------
    ndarray of complex
        One vector an order, as in `order_vectors`; exact for any length. [any]

    Raises
    ------
    OutOfRangeError
        If less than one revolution or fewer samples than unknowns are given.
    """
    x, theta = np.asarray(signal, dtype=np.float64), np.asarray(angle, dtype=np.float64)
    known = np.isfinite(x) & np.isfinite(theta)
    x, theta = x[known], theta[known]
    require(
        harmonics >= 1 and x.size > 2 * harmonics + 1 and float(np.ptp(theta)) >= 2 * np.pi * 0.999,
        f"{x.size} samples over {np.ptp(theta) / (2 * np.pi) if x.size else 0:.2f} revolutions do"
        f" not tell {harmonics} orders",
        where="steady_vectors",
        mend="Give at least one revolution, and more samples than unknowns.",
    )
    turns = np.outer(theta, np.arange(1, harmonics + 1))
    design = np.hstack((np.ones((x.size, 1)), np.cos(turns), np.sin(turns)))
    found = np.linalg.lstsq(design, x, rcond=None)[0]
    return np.asarray(found[1 : harmonics + 1] - 1j * found[harmonics + 1 :])


def _edges(edges: ArrayLike, pulses_per_rev: int, where: str) -> Floats:
    tach = np.asarray(edges, dtype=np.float64)
    require(
        tach.ndim == 1
        and tach.size >= 4
        and pulses_per_rev >= 1
        and bool((np.diff(tach) > 0).all()),
        f"{tach.size} edges, {pulses_per_rev} a revolution, give no angle",
        where=where,
        mend="Give at least four edges at increasing moments; repair the tach first.",
    )
    return tach
