"""The drive: torque and power of a ramp, and how fast a limited motor speeds a rotor up."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.rotor import drag_torque
from spinproof.physics.validity import demand, floats

Floats = NDArray[np.float64]


def ramp_torque(inertia: ArrayLike, acceleration: ArrayLike, drag: ArrayLike) -> Floats:
    r"""Torque that a motor gives while the speed changes.

    .. math:: T = J\,\dot\omega + T_d

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J of everything that turns. [kg m²]
    acceleration : array_like
        Angular acceleration; negative when slowing down. [rad/s²]
    drag : array_like
        Drag torque at the speed, from `drag_torque`. [N m]

    Returns
    -------
    ndarray
        Torque; negative when the drive must brake. [N m]

    Raises
    ------
    OutOfRangeError
        If an inertia is not positive or a drag is negative.

    References
    ----------
    .. [1] Euler's equation about a fixed axis; any textbook of mechanics.

    Examples
    --------
    >>> float(ramp_torque(0.22, 50 * np.pi / 30, 0.0).round(4))
    1.1519
    """
    J, a, T = floats(inertia, acceleration, drag)
    demand(
        (J > 0) & (T >= 0) & np.isfinite(J * a + T),
        where="ramp_torque",
        mend="Give an inertia above zero and a drag of zero or more.",
    )
    return np.asarray(J * a + T)


def drive_power(torque: ArrayLike, speed: ArrayLike) -> Floats:
    r"""Mechanical power of a drive.

    .. math:: P = T\,\omega

    Parameters
    ----------
    torque : array_like
        Torque T. [N m]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Power; negative when the drive brakes. [W]

    Raises
    ------
    OutOfRangeError
        If a torque is not finite or a speed is negative.

    Notes
    -----
    At the shaft: motor, belt and amplifier lose more.

    References
    ----------
    .. [1] Any textbook of mechanics.
    """
    T, w = floats(torque, speed)
    demand(
        np.isfinite(T) & (w >= 0) & np.isfinite(w),
        where="drive_power",
        mend="Give a finite torque and a speed of zero or more.",
    )
    return np.asarray(T * w)


def highest_acceleration(
    inertia: ArrayLike,
    torque_limit: ArrayLike,
    coulomb_torque: ArrayLike,
    viscous_drag: ArrayLike,
    quadratic_drag: ArrayLike,
    speed: ArrayLike,
) -> Floats:
    r"""Angular acceleration that a motor at its limit still gives at a speed.

    .. math:: \dot\omega = \frac{T_{max} - T_d(\omega)}{J}

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J. [kg m²]
    torque_limit : array_like
        Highest torque of the motor at the rotor. [N m]
    coulomb_torque, viscous_drag, quadratic_drag : array_like
        Drag terms, as in `drag_torque`. [N m], [N m s], [N m s²]
    speed : array_like
        Angular speed ω. [rad/s]

    Returns
    -------
    ndarray
        Acceleration; negative where the drag alone exceeds the limit. [rad/s²]

    Raises
    ------
    OutOfRangeError
        If inertia or limit is not positive; and what `drag_torque` raises.

    References
    ----------
    .. [1] Euler's equation about a fixed axis; any textbook of mechanics.
    """
    J, T, tc, b, k, w = floats(
        inertia, torque_limit, coulomb_torque, viscous_drag, quadratic_drag, speed
    )
    demand(
        (J > 0) & (T > 0) & np.isfinite(T),
        where="highest_acceleration",
        mend="Give an inertia and a torque limit above zero.",
    )
    return np.asarray((T - drag_torque(w, tc, b, k)) / J)


def speed_up_time(
    inertia: ArrayLike,
    torque: ArrayLike,
    coulomb_torque: ArrayLike,
    viscous_drag: ArrayLike,
    quadratic_drag: ArrayLike,
    speed_from: ArrayLike,
    speed_to: ArrayLike,
) -> Floats:
    r"""Time in which a constant torque brings a rotor from one speed to a higher one.

    .. math:: t = \frac{J\,\Delta\omega}{M}\,\frac{\mathrm{artanh}\,z}{z}, \quad
              M = T - T_c - b\,\frac{\omega_0+\omega_1}{2} - k\,\omega_0\omega_1, \quad
              z = \frac{\Delta\omega}{2M}\sqrt{b^2 + 4k\,(T-T_c)}

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J. [kg m²]
    torque : array_like
        Torque T at the rotor. [N m]
    coulomb_torque, viscous_drag, quadratic_drag : array_like
        Drag terms Tc, b and k, as in `drag_torque`. [N m], [N m s], [N m s²]
    speed_from : array_like
        Angular speed ω0 at the start. [rad/s]
    speed_to : array_like
        Angular speed ω1 at the end, at least that at the start. [rad/s]

    Returns
    -------
    ndarray
        Time, in the broadcast shape of the inputs. [s]

    Raises
    ------
    OutOfRangeError
        If the inertia is not positive, a drag or a speed is negative, the speed does not rise, or
        the torque does not exceed the drag at the end: then the rotor never arrives.

    Notes
    -----
    The equation of the coast-down with a driving torque; its error is that of constant torque and
    of the three drag terms.

    References
    ----------
    .. [1] SAE J1263, road-load coast-down, uses the same drag (from memory).

    Examples
    --------
    >>> float(speed_up_time(0.22, 1.1, 0.0, 0.0, 0.0, 0.0, 100.0))
    20.0
    """
    J, T, tc, b, k, w0, w1 = floats(
        inertia, torque, coulomb_torque, viscous_drag, quadratic_drag, speed_from, speed_to
    )
    spare = T - tc - b * w1 - k * w1 * w1
    demand(
        (J > 0) & (tc >= 0) & (b >= 0) & (k >= 0) & (w0 >= 0) & (w1 >= w0) & (spare > 0),
        where="speed_up_time",
        mend="Give an inertia above zero, drags of zero or more, a rising speed, and a torque that "
        "still exceeds the drag at the end.",
    )
    mean = T - tc - b * (w0 + w1) / 2 - k * w0 * w1
    z = np.sqrt(b * b + 4 * k * (T - tc)) * (w1 - w0) / (2 * mean)
    tiny = z < 1e-6
    bend = np.where(tiny, 1.0, np.arctanh(np.where(tiny, 0.5, z)) / np.where(tiny, 1.0, z))
    return np.asarray(J * (w1 - w0) / mean * bend)


def speed_reached(
    torque: ArrayLike, coulomb_torque: ArrayLike, viscous_drag: ArrayLike, quadratic_drag: ArrayLike
) -> Floats:
    r"""Speed at which the drag takes up the whole torque of a motor.

    .. math:: T = T_c + b\,\omega + k\,\omega^2

    Parameters
    ----------
    torque : array_like
        Torque T at the rotor. [N m]
    coulomb_torque, viscous_drag, quadratic_drag : array_like
        Drag terms Tc, b and k, as in `drag_torque`. [N m], [N m s], [N m s²]

    Returns
    -------
    ndarray
        Angular speed; zero where the motor does not even turn the rotor. [rad/s]

    Raises
    ------
    OutOfRangeError
        If a torque or a drag is negative, or no drag grows with speed.

    References
    ----------
    .. [1] Root of the quadratic, in the form that does not cancel.

    Examples
    --------
    >>> float(speed_reached(1.0, 0.12, 0.002, 1.5e-5).round(4))
    184.5526
    """
    T, tc, b, k = floats(torque, coulomb_torque, viscous_drag, quadratic_drag)
    demand(
        (T >= 0) & (tc >= 0) & (b >= 0) & (k >= 0) & (b + k > 0) & np.isfinite(T),
        where="speed_reached",
        mend="Give a torque and drags of zero or more, one of which grows with speed.",
    )
    spare = np.maximum(T - tc, 0.0)
    return np.asarray(2 * spare / (b + np.sqrt(b * b + 4 * k * spare) + (spare == 0)))


def stopping_torque(inertia: ArrayLike, speed: ArrayLike, time: ArrayLike) -> Floats:
    r"""Torque that stops a rotor evenly in a time.

    .. math:: T = J\,\omega / t

    Parameters
    ----------
    inertia : array_like
        Moment of inertia J. [kg m²]
    speed : array_like
        Angular speed ω at the start. [rad/s]
    time : array_like
        Time t. [s]

    Returns
    -------
    ndarray
        Torque, for example on a positioner that catches the rotor. [N m]

    Raises
    ------
    OutOfRangeError
        If inertia or time is not positive, or a speed is negative.

    References
    ----------
    .. [1] Angular impulse; any textbook of mechanics.

    Examples
    --------
    >>> float(stopping_torque(0.22, 75 * np.pi / 30, 0.2).round(2))
    8.64
    """
    J, w, t = floats(inertia, speed, time)
    demand(
        (J > 0) & (w >= 0) & (t > 0) & np.isfinite(J * w),
        where="stopping_torque",
        mend="Give an inertia and a time above zero, and a speed of zero or more.",
    )
    return np.asarray(J * w / t)
