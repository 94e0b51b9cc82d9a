"""The water film on a spinning wafer, and the dose of spinning that thins it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import demand, floats, outside
from spinproof.physics.wafer import STANDARD_GRAVITY


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


def fed_film(
    flow: ArrayLike, speed: ArrayLike, radius: ArrayLike, kinematic_viscosity: ArrayLike
) -> NDArray[np.float64]:
    """Thickness of the film on a spinning wafer that is fed at its centre.

    Parameters
    ----------
    flow : array_like
        Flow Q on one face. [m³/s]
    speed : array_like
        Angular speed ω. [rad/s]
    radius : array_like
        Distance r from the centre. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity ν. [m²/s]

    Returns
    -------
    ndarray
        Thickness (3νQ/(2π ω² r²))^(1/3), in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If a flow is negative, or another input is not positive.

    Notes
    -----
    Steady, centrifugal force against viscosity. Sprays from the edge wet unevenly: take 20 to
    300 µm at the end of a rinse; a fast spin forgets it.

    References
    ----------
    .. [1] W. Nusselt, Z. VDI 60, 541 (1916): balance of a falling film, here under ω² r.

    Examples
    --------
    >>> float((1e6 * fed_film(6.667e-7, 31.4159, 0.1, 8.92658e-7)).round(2))
    30.65
    """
    Q, w, r, nu = floats(flow, speed, radius, kinematic_viscosity)
    demand(
        (Q >= 0) & (w > 0) & (r > 0) & (nu > 0),
        where="fed_film",
        mend="Give a flow of zero or more, and the rest above zero.",
    )
    return np.asarray(np.cbrt(3 * nu * Q / (2 * np.pi * w * w * r * r)))


def draining_film(
    time: ArrayLike, height: ArrayLike, kinematic_viscosity: ArrayLike
) -> NDArray[np.float64]:
    """Thickness of the film on a wafer that stands still and drains.

    Parameters
    ----------
    time : array_like
        Time since it stands, above zero. [s]
    height : array_like
        Distance below the upper edge. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity ν. [m²/s]

    Returns
    -------
    ndarray
        Thickness √(ν x/(g t)), in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If a height is negative, or another input is not positive.

    Notes
    -----
    Vertical plate at standard gravity; the thickness before must be larger.

    References
    ----------
    .. [1] H. Jeffreys, Proc. Camb. Phil. Soc. 26, 204 (1930).

    Examples
    --------
    >>> float((1e6 * draining_film(10.0, 0.2, 8.92658e-7)).round(2))
    42.67
    """
    t, x, nu = floats(time, height, kinematic_viscosity)
    demand(
        (t > 0) & (x >= 0) & (nu > 0),
        where="draining_film",
        mend="Give a time and a viscosity above zero, and a height of zero or more.",
    )
    return np.asarray(np.sqrt(nu * x / (STANDARD_GRAVITY * t)))


def off_axis_film(
    dose: ArrayLike,
    initial_thickness: ArrayLike,
    kinematic_viscosity: ArrayLike,
    radius: ArrayLike,
    inner_radius: ArrayLike,
) -> NDArray[np.float64]:
    """Thickness of the film on a wafer that turns about a distant axis.

    Parameters
    ----------
    dose : array_like
        Thinning dose D. [rad²/s]
    initial_thickness : array_like
        Thickness h0 before the dose. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity ν. [m²/s]
    radius : array_like
        Distance r from the rotor axis. [m]
    inner_radius : array_like
        Distance of the wafer's inner edge from the axis. [m]

    Returns
    -------
    ndarray
        Thickness, in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If a dose is negative, another input is not positive, or a radius lies inside the
        inner edge.

    Notes
    -----
    Nothing feeds the inner edge, so a thinner part spreads from it; beyond its front the
    ordinary law holds, which is an upper bound everywhere. Flow taken as radial from the axis,
    wafer at right angles to it.

    References
    ----------
    .. [1] Characteristics of the equation of Emslie, Bonner and Peck (1958); derived here.

    Examples
    --------
    >>> off_axis_film(7895.68, 5e-5, 8.9266e-7, [0.1, 0.2], 0.05).round(9)
    array([7.151e-06, 8.452e-06])
    """
    D, h0, nu, r, inner = floats(dose, initial_thickness, kinematic_viscosity, radius, inner_radius)
    demand(
        (D >= 0) & (h0 > 0) & (nu > 0) & (inner > 0) & (r >= inner),
        where="off_axis_film",
        mend="Give radii from the inner edge outwards, and the rest above zero.",
    )
    far = film_thickness(D, h0, nu)
    growth = 4 * h0**2 * D / (3 * nu)
    thinned = h0 / np.sqrt(np.maximum(growth, 1e-300)) * np.sqrt(1 - (inner / r) ** (4 / 3))
    return np.where(r < inner * (1 + growth) ** 0.75, np.minimum(thinned, far), far)
