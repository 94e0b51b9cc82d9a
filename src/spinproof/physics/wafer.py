"""The wafer: its inertia, and the acceleration at its edge."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import floats, outside

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s²]"""


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
