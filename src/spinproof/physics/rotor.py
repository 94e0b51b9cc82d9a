"""The rotor: drag, coast-down, energy, permissible unbalance and its vibration."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import floats, outside

RAD_PER_S_PER_RPM = np.pi / 30
"""Angular speed of one revolution per minute. [rad/s]"""


def drag_torque(
    speed: ArrayLike,
    coulomb_torque: ArrayLike,
    viscous_drag: ArrayLike,
    quadratic_drag: ArrayLike,
) -> NDArray[np.float64]:
    r"""Torque that bearings, seals and the gas in the bowl put against the rotor.

    .. math:: T = T_c + b\,\omega + k\,\omega^2

    Parameters
    ----------
    speed : array_like
        Angular speed ω. [rad/s]
    coulomb_torque : array_like
        Drag Tc that does not depend on speed: contact seals, bearing preload. [N m]
    viscous_drag : array_like
        Drag b per angular speed: grease, eddy currents. [N m s]
    quadratic_drag : array_like
        Drag k per squared angular speed: windage. [N m s²]

    Returns
    -------
    ndarray
        Drag torque, in the broadcast shape of the inputs. [N m]

    Raises
    ------
    OutOfRangeError
        If a speed or a drag is negative or NaN.

    References
    ----------
    .. [1] SAE J1263, road-load coast-down, uses the same three terms (from memory).

    Examples
    --------
    >>> float(drag_torque(183.2596, 0.35, 0.0, 2.5e-5).round(4))
    1.1896
    """
    w, tc, b, k = floats(speed, coulomb_torque, viscous_drag, quadratic_drag)
    holds = (w >= 0) & (tc >= 0) & (b >= 0) & (k >= 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="drag_torque",
            mend="Give a speed and drags of zero or more.",
            mask=~holds,
        )
    return np.asarray(tc + b * w + k * w * w)


def coast_down_time(
    inertia: ArrayLike,
    coulomb_torque: ArrayLike,
    viscous_drag: ArrayLike,
    quadratic_drag: ArrayLike,
    speed_from: ArrayLike,
    speed_to: ArrayLike,
) -> NDArray[np.float64]:
    r"""Time in which an undriven rotor slows down from one speed to another.

    .. math:: J\,\dot\omega = -(T_c + b\,\omega + k\,\omega^2)

    .. math:: t = \frac{J\,\Delta\omega}{M}\,\frac{\arctan z}{z}, \quad
              M = T_c + b\,\frac{\omega_0+\omega_1}{2} + k\,\omega_0\omega_1, \quad
              z = \frac{\Delta\omega}{2M}\sqrt{4T_c k - b^2}

    with artanh in place of arctan where the root is imaginary.

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J of everything that turns. [kg m²]
    coulomb_torque : array_like
        Drag Tc that does not depend on speed. [N m]
    viscous_drag : array_like
        Drag b per angular speed. [N m s]
    quadratic_drag : array_like
        Drag k per squared angular speed. [N m s²]
    speed_from : array_like
        Angular speed ω0 at the start. [rad/s]
    speed_to : array_like
        Angular speed ω1 at the end, at most the one at the start. [rad/s]

    Returns
    -------
    ndarray
        Time, in the broadcast shape of the inputs. [s]

    Raises
    ------
    OutOfRangeError
        If the inertia is not positive, a drag or the final speed is negative, the final speed
        lies above the first, or nothing slows the rotor there, so that it never arrives.

    Notes
    -----
    The form above joins the usual four (arctan, artanh, logarithm, quotient) in one that has no
    singular corner: it only needs a drag that is not zero at the final speed.

    References
    ----------
    .. [1] SAE J1263, road-load coast-down, integrates the same equation (from memory).

    Examples
    --------
    >>> rpm = RAD_PER_S_PER_RPM
    >>> float(coast_down_time(0.22, 0.35, 0.0, 2.5e-5, 1100 * rpm, 40 * rpm).round(4))
    54.7842
    """
    J, tc, b, k, w0, w1 = floats(
        inertia, coulomb_torque, viscous_drag, quadratic_drag, speed_from, speed_to
    )
    slowed = (tc + b * w1 + k * w1 * w1 > 0) | (w0 == w1)
    holds = (J > 0) & (tc >= 0) & (b >= 0) & (k >= 0) & (w1 >= 0) & (w0 >= w1) & slowed
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="coast_down_time",
            mend="Give an inertia above zero, drags of zero or more that still act at the final "
            "speed, and a final speed between zero and the first.",
            mask=~holds,
        )
    mean = tc + b * (w0 + w1) / 2 + k * w0 * w1
    mean = np.where(w0 == w1, 1.0, mean)
    root = 4 * tc * k - b * b
    z = np.sqrt(np.abs(root)) * (w0 - w1) / (2 * mean)
    return np.asarray(J * (w0 - w1) / mean * _bend(z, root))


def _bend(z: NDArray[np.float64], root: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give arctan(z)/z, or artanh(z)/z where ``root`` is negative; 1 at z = 0."""
    tiny = z < 1e-6
    safe = np.where(tiny, 0.5, z)
    hyperbolic = np.arctanh(np.where(root < 0, np.minimum(safe, 1 - 1e-16), 0.5))
    bent = np.where(root < 0, hyperbolic, np.arctan(safe)) / safe
    return np.where(tiny, 1.0, bent)


def rotational_energy(inertia: ArrayLike, speed: ArrayLike) -> NDArray[np.float64]:
    r"""Energy that a turning rotor holds, and that a door must hold back.

    .. math:: E = \tfrac12 J\,\omega^2

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J. [kg m²]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Kinetic energy, in the broadcast shape of the inputs. [J]

    Raises
    ------
    OutOfRangeError
        If an inertia is negative or a value is NaN.

    References
    ----------
    .. [1] Definition of kinetic energy of rotation; any textbook of mechanics.

    Examples
    --------
    >>> float(rotational_energy(0.22, 1750 * RAD_PER_S_PER_RPM).round(2))
    3694.25
    """
    J, w = floats(inertia, speed)
    holds = (J >= 0) & np.isfinite(w)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="rotational_energy",
            mend="Give an inertia of zero or more and a finite speed.",
            mask=~holds,
        )
    return np.asarray(J * w * w / 2)


def permissible_unbalance(
    grade_mm_s: ArrayLike, mass_kg: ArrayLike, speed: ArrayLike
) -> NDArray[np.float64]:
    r"""Residual unbalance that a balance quality grade permits a rigid rotor.

    .. math:: U_{per} = \frac{G\,m}{\omega}

    Parameters
    ----------
    grade_mm_s : array_like
        Balance quality grade G, 6.3 for G 6.3. [mm/s]
    mass_kg : array_like
        Mass m of the rotor. [kg]
    speed : array_like
        Highest angular speed ω in service. [rad/s]

    Returns
    -------
    ndarray
        Permissible residual unbalance, in the broadcast shape of the inputs. [kg m]

    Raises
    ------
    OutOfRangeError
        If any input is not positive.

    Notes
    -----
    1 kg m is 10⁶ g mm. For the whole rotor; its share per plane follows from the bearings.

    References
    ----------
    .. [1] ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour.

    Examples
    --------
    >>> float((1e6 * permissible_unbalance(6.3, 16.2, 2000 * RAD_PER_S_PER_RPM)).round(3))
    487.301
    """
    G, m, w = floats(grade_mm_s, mass_kg, speed)
    holds = (G > 0) & (m > 0) & (w > 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="permissible_unbalance",
            mend="Give a grade, a mass and a speed above zero.",
            mask=~holds,
        )
    return np.asarray(1e-3 * G * m / w)


def unbalance_velocity(
    unbalance: ArrayLike,
    vibrating_mass: ArrayLike,
    natural_speed: ArrayLike,
    damping_ratio: ArrayLike,
    speed: ArrayLike,
) -> NDArray[np.float64]:
    r"""Velocity severity of a housing that an unbalanced rotor shakes, at steady speed.

    .. math:: v = \frac{U}{M}\,
              \frac{\omega^3}{\sqrt2\,\sqrt{(\omega_n^2-\omega^2)^2+(2\zeta\omega_n\omega)^2}}

    Parameters
    ----------
    unbalance : array_like
        Unbalance U of the rotor with its load. [kg m]
    vibrating_mass : array_like
        Mass M that moves: rotor, bearings and housing. [kg]
    natural_speed : array_like
        Natural angular frequency ωn on the mounts. [rad/s]
    damping_ratio : array_like
        Damping ratio ζ. [1]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Velocity, root mean square, in the broadcast shape of the inputs. [m/s]

    Raises
    ------
    OutOfRangeError
        If mass, natural speed or damping is not positive, or unbalance or speed is negative.

    Notes
    -----
    Jeffcott's rotor with viscous damping, at steady speed: a ramp through the resonance shows a
    lower and later peak.

    References
    ----------
    .. [1] H. H. Jeffcott, "The lateral vibration of loaded shafts," Phil. Mag. 37, 304-314 (1919).

    Examples
    --------
    >>> rpm = RAD_PER_S_PER_RPM
    >>> v = unbalance_velocity(250e-6, 60.0, 1010 * rpm, 0.06, 1750 * rpm)
    >>> float((1e3 * v).round(5))
    0.80528
    """
    U, M, wn, zeta, w = floats(unbalance, vibrating_mass, natural_speed, damping_ratio, speed)
    holds = (U >= 0) & (M > 0) & (wn > 0) & (zeta > 0) & (w >= 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="unbalance_velocity",
            mend="Give a mass, natural speed and damping above zero, an unbalance and a speed of "
            "zero or more.",
            mask=~holds,
        )
    dynamic = np.hypot(wn * wn - w * w, 2 * zeta * wn * w)
    return np.asarray(U / M * w**3 / (np.sqrt(2) * dynamic))
