"""Drops of water: their volume, when they let go, and how long they last."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import advise, demand, floats
from spinproof.physics.wafer import STANDARD_GRAVITY

RETENTION_FACTOR = 24 / np.pi**3
"""Retention factor for the width of the contact line. [1]"""


def cap_volume(contact_radius: ArrayLike, contact_angle: ArrayLike) -> NDArray[np.float64]:
    """Volume of a drop that is a spherical cap.

    Parameters
    ----------
    contact_radius : array_like
        Radius a of the contact line. [m]
    contact_angle : array_like
        Contact angle θ, above 0 and below π. [rad]

    Returns
    -------
    ndarray
        Volume π a³ (2 - 3 cos θ + cos³ θ) / (3 sin³ θ), in the broadcast shape. [m³]

    Raises
    ------
    OutOfRangeError
        If a radius is negative or an angle is not between 0 and π.

    Notes
    -----
    Holds below the capillary length, 2.7 mm for water.

    References
    ----------
    .. [1] Geometry of a spherical cap.

    Examples
    --------
    >>> float((1e9 * cap_volume(1e-3, np.pi / 2)).round(4))
    2.0944
    """
    a, theta = floats(contact_radius, contact_angle)
    demand(
        (a >= 0) & (theta > 0) & (theta < np.pi),
        where="cap_volume",
        mend="Give a radius of zero or more and an angle between 0 and π.",
    )
    c = np.cos(theta)
    return np.asarray(np.pi * a**3 * (2 - 3 * c + c**3) / (3 * np.sin(theta) ** 3))


def capillary_length(tension: ArrayLike, density: ArrayLike) -> NDArray[np.float64]:
    """Length below which surface tension outweighs gravity.

    Parameters
    ----------
    tension : array_like
        Surface tension σ. [N/m]
    density : array_like
        Density ρ of the liquid. [kg/m³]

    Returns
    -------
    ndarray
        Length √(σ/(ρ g)), in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If an input is not positive.

    Notes
    -----
    At standard gravity.

    References
    ----------
    .. [1] Definition.

    Examples
    --------
    >>> float((1e3 * capillary_length(0.071972, 997.05)).round(2))
    2.71
    """
    sigma, rho = floats(tension, density)
    demand((sigma > 0) & (rho > 0), where="capillary_length", mend="Give values above zero.")
    return np.asarray(np.sqrt(sigma / (rho * STANDARD_GRAVITY)))


def largest_clinging_drop(
    advancing: ArrayLike,
    receding: ArrayLike,
    acceleration: ArrayLike,
    tension: ArrayLike,
    density: ArrayLike,
) -> NDArray[np.float64]:
    """Contact radius above which a drop lets go of a surface that is accelerated along itself.

    Parameters
    ----------
    advancing : array_like
        Advancing contact angle. [rad]
    receding : array_like
        Receding contact angle, below the advancing one. [rad]
    acceleration : array_like
        Acceleration along the surface: ω² r on the rotor, g on a wall. [m/s²]
    tension : array_like
        Surface tension. [N/m]
    density : array_like
        Density of the liquid. [kg/m³]

    Returns
    -------
    ndarray
        Contact radius √(2kσ(cos θr - cos θa)/(ρ A f)), in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If an angle is not between 0 and π, the advancing one is not above the receding one,
        or another input is not positive.

    Notes
    -----
    An isolated drop, a cap at the mean of both angles, k = 24/π³ (others take π/4 or 1: 1 %
    and 14 % in the radius). Warns above the capillary length, where a cap is no shape any
    more. Contact angles rule the error: measure them.

    References
    ----------
    .. [1] C. G. L. Furmidge, J. Colloid Sci. 17, 309 (1962); A. I. ElSherbini and A. M.
       Jacobi, J. Colloid Interface Sci. 299, 841 (2006).

    Examples
    --------
    >>> angles = np.deg2rad([80.0, 60.0])
    >>> float((1e3 * largest_clinging_drop(*angles, 9.80665, 0.071972, 997.05)).round(3))
    1.705
    """
    high, low, pull, sigma, rho = floats(advancing, receding, acceleration, tension, density)
    demand(
        (low > 0) & (high > low) & (high < np.pi) & (pull > 0) & (sigma > 0) & (rho > 0),
        where="largest_clinging_drop",
        mend="Give 0 < receding < advancing < π, and the rest above zero.",
    )
    hold = 2 * RETENTION_FACTOR * sigma * (np.cos(low) - np.cos(high))
    radius = np.sqrt(hold / (rho * pull * cap_volume(np.ones_like(low), (low + high) / 2)))
    advise(
        radius <= capillary_length(sigma, rho),
        where="largest_clinging_drop",
        known="the capillary length of a cap, 2.7 mm for water",
    )
    return np.asarray(radius)


def drop_evaporation(
    contact_radius: ArrayLike,
    contact_angle: ArrayLike,
    diffusivity: ArrayLike,
    vapour_density: ArrayLike,
    humidity: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Rate at which a pinned drop evaporates into still gas.

    Parameters
    ----------
    contact_radius : array_like
        Radius a of the contact line. [m]
    contact_angle : array_like
        Contact angle θ, 0 to π/2. [rad]
    diffusivity : array_like
        Diffusivity D of the vapour. [m²/s]
    vapour_density : array_like
        Density cs of saturated vapour at the drop. [kg/m³]
    humidity : array_like
        Relative humidity H of the gas. [1]

    Returns
    -------
    ndarray
        Rate π a D cs (1 - H)(0.27 θ² + 1.30), in the broadcast shape. [kg/s]

    Raises
    ------
    OutOfRangeError
        If the angle is not in 0 to π/2, the humidity not in 0 to 1, or another input is
        negative.

    Notes
    -----
    Still gas; a flow shortens the life of a drop by a factor of a few. Cooling of the drop is
    left out.

    References
    ----------
    .. [1] H. Hu and R. G. Larson, J. Phys. Chem. B 106, 1334 (2002).

    Examples
    --------
    >>> float((1e9 * drop_evaporation(0.5e-3, np.pi / 3, 2.52e-5, 0.02304)).round(2))
    1.46
    """
    a, theta, D, c, H = floats(contact_radius, contact_angle, diffusivity, vapour_density, humidity)
    demand(
        (a >= 0) & (theta >= 0) & (theta <= np.pi / 2) & (D >= 0) & (c >= 0) & (H >= 0) & (H <= 1),
        where="drop_evaporation",
        mend="Give an angle of 0 to π/2, a humidity of 0 to 1, and nothing negative.",
    )
    return np.asarray(np.pi * a * D * c * (1 - H) * (0.27 * theta**2 + 1.30))
