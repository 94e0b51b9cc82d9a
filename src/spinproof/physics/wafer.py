"""The wafer: its mass and inertia, its stress, and the acceleration at its edge."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import demand, floats, outside

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s²]"""
SILICON_DENSITY = 2329.0
"""Density of silicon. [kg/m³]"""
SILICON_POISSON = 0.278
"""Poisson's ratio of silicon, along <100> in the (100) plane; 0.064 along <110>. [1]"""


def wafer_inertia(mass_kg: ArrayLike, diameter_m: ArrayLike) -> NDArray[np.float64]:
    r"""Moment of inertia of a wafer about its own axis, taken as a full circle.

    .. math:: J = \tfrac18 m d^2

    Parameters
    ----------
    mass_kg : array_like
        Mass m of the wafer. [kg]
    diameter_m : array_like
        Diameter d. [m]

    Returns
    -------
    ndarray
        Moment of inertia, in the broadcast shape of the inputs. [kg m²]

    Raises
    ------
    OutOfRangeError
        If a mass is negative or a diameter is not positive.

    Notes
    -----
    On an off-axis rotor the parallel-axis term, m times the squared distance, comes on top.

    References
    ----------
    .. [1] Inertia of a solid disk; any textbook of mechanics.

    Examples
    --------
    >>> float(wafer_inertia(53.0466e-3, 0.2).round(9))
    0.000265233
    """
    m, d = floats(mass_kg, diameter_m)
    holds = (m >= 0) & (d > 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="wafer_inertia",
            mend="Give a mass of zero or more and a diameter above zero.",
            mask=~holds,
        )
    return np.asarray(m * d * d / 8)


def relative_centrifugal_force(radius_m: ArrayLike, speed: ArrayLike) -> NDArray[np.float64]:
    r"""Centrifugal acceleration in multiples of standard gravity.

    .. math:: \mathrm{RCF} = \omega^2 r / g_n

    Parameters
    ----------
    radius_m : array_like
        Distance r from the rotor axis. [m]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Relative centrifugal force, in the broadcast shape of the inputs. [1]

    Raises
    ------
    OutOfRangeError
        If a radius is negative, or a speed is not finite.

    References
    ----------
    .. [1] Standard acceleration of free fall, 9.80665 m/s²: 3rd CGPM (1901).

    Examples
    --------
    >>> float(relative_centrifugal_force(0.1, 2800 * np.pi / 30).round(3))
    876.703
    """
    r, w = floats(radius_m, speed)
    holds = (r >= 0) & np.isfinite(w)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="relative_centrifugal_force",
            mend="Give a radius of zero or more and a finite speed.",
            mask=~holds,
        )
    return np.asarray(w * w * r / STANDARD_GRAVITY)


def wafer_mass(
    diameter: ArrayLike, thickness: ArrayLike, density: ArrayLike = SILICON_DENSITY
) -> NDArray[np.float64]:
    """Mass of a wafer, taken as a full circle.

    Parameters
    ----------
    diameter : array_like
        Diameter. [m]
    thickness : array_like
        Thickness. [m]
    density : array_like
        Density, of silicon if none is given. [kg/m³]

    Returns
    -------
    ndarray
        Mass, in the broadcast shape. [kg]

    Raises
    ------
    OutOfRangeError
        If an input is not positive.

    Notes
    -----
    A flat takes off 1 to 2 %, a notch less than 0.1 %; the tolerance of the thickness is 3 to
    4 %.

    References
    ----------
    .. [1] Geometry; density of silicon.

    Examples
    --------
    >>> float((1e3 * wafer_mass(0.2, 725e-6)).round(3))
    53.047
    """
    d, t, rho = floats(diameter, thickness, density)
    demand((d > 0) & (t > 0) & (rho > 0), where="wafer_mass", mend="Give values above zero.")
    return np.asarray(rho * np.pi * d * d / 4 * t)


def spin_stress(
    speed: ArrayLike,
    wafer_radius: ArrayLike,
    radius: ArrayLike = 0.0,
    density: ArrayLike = SILICON_DENSITY,
    poisson: ArrayLike = SILICON_POISSON,
) -> NDArray[np.float64]:
    """Radial and hoop stress in a wafer that spins about its centre.

    Parameters
    ----------
    speed : array_like
        Angular speed ω. [rad/s]
    wafer_radius : array_like
        Radius R of the wafer. [m]
    radius : array_like
        Distance r from the centre. [m]
    density : array_like
        Density. [kg/m³]
    poisson : array_like
        Poisson's ratio ν. [1]

    Returns
    -------
    ndarray
        Radial stress (3+ν)/8 ρω²(R² - r²) and hoop stress ρω²/8 ((3+ν)R² - (1+3ν)r²) along
        a first axis of two. [Pa]

    Raises
    ------
    OutOfRangeError
        If a radius is negative or beyond the rim, a density or rim is not positive, the
        ratio is not in 0 to 0.5, or the speed is not finite.

    Notes
    -----
    Thin isotropic disk with a free edge; silicon is not isotropic: -7 to +3 % at the centre.
    Some 1 MPa at most: wafers break by contact, chips and resonance, not by spinning.

    References
    ----------
    .. [1] S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, rotating disks.

    Examples
    --------
    >>> (1e-6 * spin_stress(293.215, 0.1)).round(4)
    array([0.8205, 0.8205])
    """
    w, R, r, rho, nu = floats(speed, wafer_radius, radius, density, poisson)
    demand(
        np.isfinite(w) & (R > 0) & (r >= 0) & (r <= R) & (rho > 0) & (nu >= 0) & (nu <= 0.5),
        where="spin_stress",
        mend="Give a radius inside the rim, a ratio of 0 to 0.5, and the rest above zero.",
    )
    load = rho * w * w / 8
    return np.stack(
        [
            load * (3 + nu) * (R * R - r * r),
            load * ((3 + nu) * R * R - (1 + 3 * nu) * r * r),
        ]
    )
