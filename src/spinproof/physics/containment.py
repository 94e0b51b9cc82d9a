"""What a rotor throws when something comes off it: numbers for respect, not for a licence."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand, floats

CAUTION: Final = (
    "These energies say how hard something hits, not that the bowl and the door hold it. Whether "
    "they do is for the builder's proof, local codes and licensed practice to say. Keep the door "
    "locked and stay clear of the plane of rotation while the rotor turns; never run a rotor with "
    "cracks, loose masses or a load above its limit, and never bridge an interlock to look."
)
"""Stands beside every number of this module."""

Floats = NDArray[np.float64]


def fragment_speed(radius: ArrayLike, speed: ArrayLike) -> Floats:
    r"""Speed with which a piece leaves a rotor.

    .. math:: v = \omega\,r

    Parameters
    ----------
    radius : array_like
        Distance r of the piece's mass centre from the axis. [m]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Speed. [m/s]

    Raises
    ------
    OutOfRangeError
        If a radius or a speed is negative or not finite.

    References
    ----------
    .. [1] Any textbook of mechanics.

    Examples
    --------
    >>> float(fragment_speed(0.12, 2000 * np.pi / 30).round(2))
    25.13
    """
    r, w = floats(radius, speed)
    demand(
        (r >= 0) & (w >= 0) & np.isfinite(r * w),
        where="fragment_speed",
        mend="Give a radius and a speed of zero or more.",
    )
    return np.asarray(w * r)


def fragment_energy(mass_kg: ArrayLike, radius: ArrayLike, speed: ArrayLike) -> Floats:
    r"""Energy with which a piece flies off, without its own spin.

    .. math:: E = \tfrac12 m\,(\omega r)^2

    Parameters
    ----------
    mass_kg : array_like
        Mass m of the piece. [kg]
    radius : array_like
        Distance r of its mass centre from the axis. [m]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Energy. [J]

    Raises
    ------
    OutOfRangeError
        If a mass is negative; and what `fragment_speed` raises.

    Notes
    -----
    The spin of the piece comes on top: the whole energy of the rotor, `rotational_energy`, is the
    upper bound for all pieces together. See `CAUTION`.

    References
    ----------
    .. [1] Any textbook of mechanics.

    Examples
    --------
    >>> float(fragment_energy(16.2 / 3, 0.12, 2000 * np.pi / 30).round(0))
    1705.0
    """
    m, r, w = floats(mass_kg, radius, speed)
    demand((m >= 0) & np.isfinite(m), where="fragment_energy", mend="Give a mass of zero or more.")
    return np.asarray(m / 2 * fragment_speed(r, w) ** 2)


def rim_stress(density: ArrayLike, radius: ArrayLike, speed: ArrayLike) -> Floats:
    r"""Hoop stress of a thin ring that turns.

    .. math:: \sigma = \rho\,(\omega r)^2

    Parameters
    ----------
    density : array_like
        Density ρ of the ring. [kg/m³]
    radius : array_like
        Mean radius r. [m]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Stress. [Pa]

    Raises
    ------
    OutOfRangeError
        If a density is not positive; and what `fragment_speed` raises.

    Notes
    -----
    A free ring; bars, holes and welds of a real rotor carry a multiple of it.

    References
    ----------
    .. [1] Thin rotating ring; any textbook of strength of materials.

    Examples
    --------
    >>> float((1e-6 * rim_stress(7980.0, 0.16, 2000 * np.pi / 30)).round(2))
    8.96
    """
    rho, r, w = floats(density, radius, speed)
    demand((rho > 0) & np.isfinite(rho), where="rim_stress", mend="Give a density above zero.")
    return np.asarray(rho * fragment_speed(r, w) ** 2)
