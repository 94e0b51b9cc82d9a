"""Drag over inertia from one coast-down, by the moments of its tach pulses."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.stats.least_squares import Fitted, fitted

Array = NDArray[np.float64]
LEAST_PULSES, LEAST_RATIO = 30, 3.0
"""A coast-down shorter than this in pulses, or in its ratio of speeds, separates no terms. [1]"""
TERMS = 3


@dataclass(frozen=True, eq=False)
class DragTerms:
    """Drag over inertia of one coast-down: constant, per speed, and per squared speed.

    Attributes
    ----------
    terms : ndarray
        The three terms. [rad/s2], [1/s], [1/rad]
    uncertainty : ndarray
        Standard uncertainties: of the fit, with what the halves differ beyond their own. [same]
    halves : ndarray
        The terms of the upper and of the lower half of the speeds, a row for each; NaN when a
        half separates none. [same]
    scatter_s : float
        Root mean square of what the fit leaves. [s]
    """

    terms: Array
    uncertainty: Array
    halves: Array
    scatter_s: float


def unfit(moment: Array, angle: Array) -> str | None:
    """Say why a coast-down separates no drag terms, or give None.

    Parameters
    ----------
    moment : ndarray
        Moments at which the angle is known, rising. [s]
    angle : ndarray
        Angle turned at those moments, rising. [rad]

    Returns
    -------
    str or None
        The reason.

    Notes
    -----
    Never raises.
    """
    if moment.size < LEAST_PULSES:
        return f"{moment.size} pulses, {LEAST_PULSES} are needed"
    speed = np.diff(angle) / np.diff(moment)
    first, last = float(speed[:5].mean()), float(speed[-5:].mean())
    if first < LEAST_RATIO * last:
        rpm = first / RAD_PER_S_PER_RPM, last / RAD_PER_S_PER_RPM
        return f"from {rpm[0]:.0f} to {rpm[1]:.0f} rpm only: the terms need a wider span"
    return None


def decelerations(moment: Array, angle: Array) -> Fitted:
    """Fit one coast-down.

    Parameters
    ----------
    moment : ndarray
        Moments at which the angle is known, rising. [s]
    angle : ndarray
        Angle turned at those moments. [rad]

    Returns
    -------
    Fitted
        Drag over inertia, constant [rad/s²], per speed [1/s] and per squared speed [1/rad];
        residuals are in seconds.

    Notes
    -----
    Never raises by itself. What is left over is a time, since a tach's errors are errors of time.

    References
    ----------
    .. [1] SAE J1263, road-load coast-down, uses the same three terms (from memory).
    """
    time, turned_by = moment - moment[0], angle - angle[0]
    course = np.polynomial.Polynomial.fit(time, turned_by, 5)
    speed, slowing = course.deriv()(time), -course.deriv(2)(time)
    middle = float(speed.mean())
    powers = (speed / middle)[:, None] ** np.arange(TERMS)
    first = np.linalg.lstsq(powers, slowing, rcond=None)[0]
    size = float(np.abs(slowing).mean())
    start = np.array([*first, speed[0], 0.0])
    steps = np.array([size, size, size, 1e-3 * speed[0], 1e-3])
    units = np.array([1.0, middle, middle**2])

    def left_over(p: Array) -> Array:
        a, b, k = p[:TERMS] / units
        turned, turning = _coasted(time, a, b, k, p[3])
        return np.asarray((turned_by - turned - p[4]) / turning)

    found = fitted(left_over, start, steps)
    covariance = found.covariance[:TERMS, :TERMS] / np.outer(units, units)
    return Fitted(found.estimate[:TERMS] / units, covariance, found.residuals, found.degrees)


def drag_terms(moment: Array, angle: Array) -> DragTerms | None:
    """Fit one coast-down as a whole and by halves, and say how far to trust its terms.

    Parameters
    ----------
    moment : ndarray
        Moments at which the angle is known, rising. [s]
    angle : ndarray
        Angle turned at those moments. [rad]

    Returns
    -------
    DragTerms or None
        None where the terms cannot be told apart.

    Notes
    -----
    Never raises by itself. The fit's own uncertainty takes the three terms for the whole truth.
    The upper and the lower half of the speeds are fitted as well: half of what they differ by,
    beyond what their own uncertainties explain, is added in quadrature.
    """
    if unfit(moment, angle) is not None:
        return None
    whole = decelerations(moment, angle)
    if whole.is_singular:
        return None
    speed = np.diff(angle) / np.diff(moment)
    middle = float(np.median(speed[:5]) + np.median(speed[-5:])) / 2
    cut = int(np.searchsorted(-speed, -middle))
    parts = [
        None if part.size < LEAST_PULSES else decelerations(part, turned)
        for part, turned in (
            (moment[: cut + 1], angle[: cut + 1]),
            (moment[cut:], angle[cut:]),
        )
    ]
    halves = np.full((2, TERMS), np.nan)
    beyond = np.zeros(TERMS)
    if (upper := parts[0]) is not None and (lower := parts[1]) is not None:
        halves = np.array([upper.estimate, lower.estimate])
        own = upper.spread**2 + lower.spread**2
        known = np.isfinite(own)
        apart = (upper.estimate - lower.estimate) ** 2
        beyond[known] = np.maximum(apart - own, 0.0)[known] / 4
    return DragTerms(
        terms=whole.estimate,
        uncertainty=np.sqrt(whole.spread**2 + beyond),
        halves=halves,
        scatter_s=float(np.sqrt(np.mean(whole.residuals**2))),
    )


@njit(cache=True)
def _coasted(time, a, b, k, speed):  # type: ignore[no-untyped-def] # compiled
    """Give angle and speed at each moment: dw/dt = -(a + b w + k w²), fourth order."""
    angles, speeds = np.zeros(time.size), np.full(time.size, speed)
    w, angle = speed, 0.0
    for i in range(1, time.size):
        h = time[i] - time[i - 1]
        k1 = -(a + (b + k * w) * w)
        x = w + h / 2 * k1
        k2 = -(a + (b + k * x) * x)
        x = w + h / 2 * k2
        k3 = -(a + (b + k * x) * x)
        x = w + h * k3
        k4 = -(a + (b + k * x) * x)
        angle += h * (w + h * (k1 + k2 + k3) / 6)
        w = max(w + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), 1e-3)
        angles[i], speeds[i] = angle, w
    return angles, speeds
