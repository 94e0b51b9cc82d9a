"""The water film on a spinning wafer, and the dose of spinning that thins it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import floats, outside


def thinning_dose(time: ArrayLike, speed: ArrayLike) -> float:
    r"""Thinning dose of a speed that is known at some moments.

    .. math:: D = \int \omega^2\,dt = \sum_i \frac{t_{i+1}-t_i}{3}
              \left(\omega_i^2 + \omega_i\omega_{i+1} + \omega_{i+1}^2\right)

    Parameters
    ----------
    time : array_like
        Moments, never decreasing. [s]
    speed : array_like
        Angular speed at those moments. [rad/s]

    Returns
    -------
    float
        Thinning dose, zero for fewer than two moments. [rad²/s]

    Raises
    ------
    OutOfRangeError
        If a moment lies before its predecessor, or a value is not finite.

    Notes
    -----
    Exact for a speed that is linear between the moments. A speed-scale error of 1 % is a dose
    error of 2 %.

    References
    ----------
    .. [1] A. G. Emslie, F. T. Bonner and L. G. Peck, "Flow of a viscous liquid
       on a rotating disk," J. Appl. Phys. 29, 858-862 (1958).

    Examples
    --------
    >>> round(thinning_dose([0.0, 8.0], [0.0, 100.0]), 6)
    26666.666667
    """
    t, w = floats(time, speed)
    holds = np.isfinite(t) & np.isfinite(w) & (np.diff(t, prepend=-np.inf) >= 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="thinning_dose",
            mend="Give finite speeds at moments that never decrease.",
            mask=~holds,
        )
    a, b = w[:-1], w[1:]
    return float(np.sum(np.diff(t) * (a * a + a * b + b * b)) / 3)


def film_thickness(
    dose: ArrayLike, initial_thickness: ArrayLike, kinematic_viscosity: ArrayLike
) -> NDArray[np.float64]:
    r"""Thickness of a wetting film after a thinning dose, without evaporation.

    .. math:: h = h_0 \left(1 + \frac{4 h_0^2 D}{3\nu}\right)^{-1/2},
              \qquad D = \int \omega^2\,dt

    Parameters
    ----------
    dose : array_like
        Thinning dose D, the time integral of the squared angular speed. [rad²/s]
    initial_thickness : array_like
        Film thickness h0 before the dose, uniform over the wafer. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity ν of the liquid. [m²/s]

    Returns
    -------
    ndarray
        Film thickness h, in the broadcast shape of the three inputs. [m]

    Raises
    ------
    OutOfRangeError
        If a dose is negative, or a thickness or viscosity is not positive;
        NaN counts as neither. ``mask`` marks the offending elements.

    Notes
    -----
    Holds for a Newtonian film that wets the whole wafer, thin against √(ν/ω),
    on a wafer that spins about its own centre. It does not hold once the film
    breaks into drops, nor for a wafer off the axis.

    References
    ----------
    .. [1] A. G. Emslie, F. T. Bonner and L. G. Peck, "Flow of a viscous liquid
       on a rotating disk," J. Appl. Phys. 29, 858-862 (1958).

    Examples
    --------
    >>> float(film_thickness(438649.08, 100e-6, 8.92658e-7).round(12))
    1.235326e-06
    """
    d, h0, nu = floats(dose, initial_thickness, kinematic_viscosity)
    holds = (d >= 0) & (h0 > 0) & (nu > 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="film_thickness",
            mend="Give a dose of zero or more, and a thickness and viscosity above zero.",
            mask=~holds,
        )
    return np.asarray(h0 / np.sqrt(1 + 4 * h0**2 * d / (3 * nu)))
