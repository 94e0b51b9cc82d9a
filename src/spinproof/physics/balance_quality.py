"""Balance quality: grades, the shares of two planes, and what a rotor reaches."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.rotor import permissible_unbalance
from spinproof.physics.validity import demand, floats

GRADES_MM_S: Final = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)
"""Balance quality grades G of ISO 21940-11, a factor of 2.5 apart. [mm/s]"""
LOADED_GRADE_MM_S: Final = 6.3
"""Grade of a spin dryer's rotor with its load: centrifuges and general machinery. [mm/s]"""

Floats = NDArray[np.float64]


def grade_of(unbalance: ArrayLike, mass_kg: ArrayLike, speed: ArrayLike) -> Floats:
    r"""Balance quality that a residual unbalance amounts to at a speed.

    .. math:: G = U\,\omega / m

    Parameters
    ----------
    unbalance : array_like
        Residual unbalance U of the whole rotor. [kg m]
    mass_kg : array_like
        Mass m of the rotor. [kg]
    speed : array_like
        Highest angular speed ω in service; the number means nothing without it. [rad/s]

    Returns
    -------
    ndarray
        Product of offset and angular speed, in mm/s as grades are counted. [mm/s]

    Raises
    ------
    OutOfRangeError
        If a mass or a speed is not positive, or an unbalance is negative.

    References
    ----------
    .. [1] ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour.

    Examples
    --------
    >>> float(grade_of(193.3733e-6, 16.2, 2000 * np.pi / 30).round(4))
    2.5
    """
    U, m, w = floats(unbalance, mass_kg, speed)
    demand(
        (U >= 0) & (m > 0) & (w > 0) & np.isfinite(U * w),
        where="grade_of",
        mend="Give a mass and a speed above zero, and an unbalance of zero or more.",
    )
    return np.asarray(1e3 * U * w / m)


def grade_reached(unbalance: float, mass_kg: float, speed: float) -> float | None:
    """Finest grade of the standard that a residual unbalance keeps.

    Parameters
    ----------
    unbalance : float
        Residual unbalance of the whole rotor, with its uncertainty if that is to count. [kg m]
    mass_kg : float
        Mass of the rotor. [kg]
    speed : float
        Highest angular speed in service. [rad/s]

    Returns
    -------
    float or None
        The grade; None beyond the coarsest. [mm/s]

    Raises
    ------
    OutOfRangeError
        As `grade_of`.

    References
    ----------
    .. [1] ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour.
    """
    found = float(grade_of(unbalance, mass_kg, speed))
    return next((grade for grade in GRADES_MM_S if found <= grade * (1 + 1e-12)), None)


def shares_between_bearings(total: ArrayLike, to_a: ArrayLike, to_b: ArrayLike) -> Floats:
    r"""Share of the permissible unbalance of each bearing plane, mass centre between them.

    .. math:: U_A = U\,\frac{L_B}{L_A+L_B}, \quad U_B = U\,\frac{L_A}{L_A+L_B}

    Each share is kept within 0.3 and 0.7 of the whole.

    Parameters
    ----------
    total : array_like
        Permissible residual unbalance U of the whole rotor. [kg m]
    to_a : array_like
        Distance of the mass centre from plane A. [m]
    to_b : array_like
        Distance of the mass centre from plane B. [m]

    Returns
    -------
    ndarray
        Shares of A and B along a new last axis. [kg m]

    Raises
    ------
    OutOfRangeError
        If an unbalance is not positive, a distance is negative, or both are zero.

    Notes
    -----
    The bearing planes are the tolerance planes of the standard. The limits 0.3 and 0.7 are from
    open secondary sources.

    References
    ----------
    .. [1] ISO 21940-11:2016, allocation to tolerance planes.

    Examples
    --------
    >>> shares_between_bearings(28647.9, 1.5, 0.9).round(1).tolist()
    [10743.0, 17904.9]
    """
    U, a, b = floats(total, to_a, to_b)
    demand(
        (U > 0) & (a >= 0) & (b >= 0) & (a + b > 0) & np.isfinite(a + b),
        where="shares_between_bearings",
        mend="Give an unbalance above zero and distances of zero or more, not both zero.",
    )
    share = np.clip(np.stack((b, a), axis=-1) / (a + b)[..., np.newaxis], 0.3, 0.7)
    return np.asarray(U[..., np.newaxis] * share)


def shares_overhung(total: ArrayLike, overhang: ArrayLike, span: ArrayLike) -> Floats:
    r"""Share of the permissible unbalance of each bearing plane, mass centre in front of both.

    .. math:: U_{front} = U\,\frac{c+L}{L}, \quad U_{rear} = U\,\frac{c}{L}

    Each share is kept within 0.3 and 1.3 of the whole.

    Parameters
    ----------
    total : array_like
        Permissible residual unbalance U of the whole rotor. [kg m]
    overhang : array_like
        Distance c of the mass centre in front of the front bearing. [m]
    span : array_like
        Distance L of the bearings. [m]

    Returns
    -------
    ndarray
        Shares of the front and the rear bearing along a new last axis. [kg m]

    Raises
    ------
    OutOfRangeError
        If an unbalance or the span is not positive, or the overhang is negative.

    Notes
    -----
    A long overhang drives both shares to their upper limit; then limits in the two correction
    planes, as `plane_limits` gives them, say more. The limits 0.3 and 1.3 are from memory.

    References
    ----------
    .. [1] ISO 21940-11:2016, allocation to tolerance planes.

    Examples
    --------
    >>> shares_overhung(100.0, 0.18, 0.12).tolist()
    [130.0, 130.0]
    """
    U, c, span_m = floats(total, overhang, span)
    demand(
        (U > 0) & (c >= 0) & (span_m > 0) & np.isfinite(c + span_m),
        where="shares_overhung",
        mend="Give an unbalance and a span above zero, and an overhang of zero or more.",
    )
    share = np.clip(np.stack((c + span_m, c), axis=-1) / span_m[..., np.newaxis], 0.3, 1.3)
    return np.asarray(U[..., np.newaxis] * share)


def plane_limits(total: ArrayLike, distance: ArrayLike) -> tuple[Floats, Floats]:
    r"""Limits in two correction planes, as static share and as couple.

    .. math:: U_{1,2} = \tfrac12 U, \quad C = \tfrac12 U\,d

    Parameters
    ----------
    total : array_like
        Permissible residual unbalance U of the whole rotor. [kg m]
    distance : array_like
        Distance d of the correction planes. [m]

    Returns
    -------
    tuple of ndarray
        Limit of each plane [kg m], and of the couple. [kg m²]

    Raises
    ------
    OutOfRangeError
        If an unbalance or a distance is not positive.

    Notes
    -----
    Common practice for an overhung rotor: one half for each plane keeps the whole within the
    grade whatever the angle between the two.

    References
    ----------
    .. [1] ISO 21940-11:2016, permissible residual unbalance.
    """
    U, d = floats(total, distance)
    demand(
        (U > 0) & (d > 0) & np.isfinite(U * d),
        where="plane_limits",
        mend="Give an unbalance and a distance of planes above zero.",
    )
    return np.asarray(U / 2), np.asarray(U * d / 2)


def unbalance_budget(*parts: ArrayLike) -> Floats:
    r"""Unbalances from unrelated causes, joined in quadrature.

    .. math:: U = \sqrt{\textstyle\sum U_i^2}

    Parameters
    ----------
    *parts : array_like
        Rotor, cassette, pockets, wafer masses, measurement. [kg m]

    Returns
    -------
    ndarray
        The whole, in the broadcast shape of the parts. [kg m]

    Raises
    ------
    OutOfRangeError
        If a part is negative, or there is none.

    Notes
    -----
    Right for parts whose angles have nothing to do with one another. Wafers that all sit on the
    same side add up plainly: they are one part.

    References
    ----------
    .. [1] ISO 21940-14:2012 on balance errors (scope, from open secondary sources).
    """
    stacked = np.stack(floats(*parts)) if parts else np.full(1, np.nan)
    demand(stacked >= 0, where="unbalance_budget", mend="Give parts of zero or more.")
    return np.asarray(np.sqrt(np.sum(stacked**2, axis=0)))


def largest_offset(grade_mm_s: ArrayLike, speed: ArrayLike) -> Floats:
    """Offset of the mass centre from the axis that a grade permits.

    Parameters
    ----------
    grade_mm_s : array_like
        Balance quality grade. [mm/s]
    speed : array_like
        Highest angular speed in service. [rad/s]

    Returns
    -------
    ndarray
        Permissible offset. [m]

    Raises
    ------
    OutOfRangeError
        As `permissible_unbalance`.

    Notes
    -----
    It is that of one kilogram.

    References
    ----------
    .. [1] ISO 21940-11:2016, permissible residual specific unbalance.
    """
    return permissible_unbalance(grade_mm_s, 1.0, speed)
