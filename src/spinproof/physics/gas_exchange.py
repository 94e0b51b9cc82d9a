"""Exchange of vapour between a spinning disk and the gas around it."""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import cumulative_simpson, solve_ivp
from scipy.interpolate import CubicSpline

from spinproof.physics.evaporation import WATER_MOLAR_MASS
from spinproof.physics.nitrogen import GAS_CONSTANT, MOLAR_MASS
from spinproof.physics.validity import advise, demand, floats
from spinproof.physics.water import density, saturation_pressure

LAMINAR_REYNOLDS = 2e5
"""Reynolds number ω R²/ν up to which the flow on a free disk is laminar. [1]"""
_FREE_SHEAR = (0.510232618867, -0.615922014399)  # F'(0), G'(0) of the swirl of von Kármán


def vapour_diffusivity(
    temperature: ArrayLike, pressure: ArrayLike = 101325.0
) -> NDArray[np.float64]:
    """Diffusivity of water vapour in nitrogen.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 373.15 K. [K]
    pressure : array_like
        Pressure of the gas. [Pa]

    Returns
    -------
    ndarray
        Diffusivity, in the broadcast shape. [m²/s]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range or a pressure is not positive.

    Notes
    -----
    Standard uncertainty 5 %; a measured handbook value near 35 °C is 7 % lower.

    References
    ----------
    .. [1] E. N. Fuller, P. D. Schettler and J. C. Giddings, Ind. Eng. Chem. 58(5), 18-27
       (1966); diffusion volumes 13.1 for water and 18.5 for nitrogen.

    Examples
    --------
    >>> float((1e5 * vapour_diffusivity(298.15)).round(5))
    2.57671
    """
    T, p = floats(temperature, pressure)
    demand(
        (T >= 273.15) & (T <= 373.15) & (p > 0),
        where="vapour_diffusivity",
        mend="Give a temperature from 273.15 to 373.15 K and a pressure above zero.",
    )
    mass = 2 / (1e-3 / WATER_MOLAR_MASS + 1e-3 / MOLAR_MASS)
    volumes = (13.1 ** (1 / 3) + 18.5 ** (1 / 3)) ** 2
    return np.asarray(1e-4 * 0.00143 * T**1.75 / (1e-5 * p * np.sqrt(mass) * volumes))


def disk_coefficient(schmidt: ArrayLike) -> NDArray[np.float64]:
    """Coefficient C of the exchange of a rotating disk, Sh = C Re^(1/2).

    Parameters
    ----------
    schmidt : array_like
        Schmidt number of the vapour, or Prandtl number for heat, 0.1 to 1000. [1]

    Returns
    -------
    ndarray
        Coefficient, in the shape of the input. [1]

    Raises
    ------
    OutOfRangeError
        If a number lies outside the range.

    Notes
    -----
    Exact for the laminar swirl over a free disk of any radius, the same at every radius. 1/C
    is the integral of exp(Sc ∫H) across the layer. The law for liquids, 0.620 Sc^(1/3), is
    1.77 times too high for vapour in nitrogen.

    References
    ----------
    .. [1] T. von Kármán, Z. Angew. Math. Mech. 1, 233 (1921); E. M. Sparrow and J. L. Gregg,
       J. Heat Transfer 81, 249 (1959).

    Examples
    --------
    >>> disk_coefficient([0.6, 1.0, 10.0]).round(4)
    array([0.2943, 0.3962, 1.1341])
    """
    (Sc,) = floats(schmidt)
    demand(
        (Sc >= 0.1) & (Sc <= 1000),
        where="disk_coefficient",
        mend="Give a Schmidt or Prandtl number from 0.1 to 1000.",
    )
    return np.asarray(np.exp(_coefficient_spline()(np.log(Sc))))


def liquid_disk_coefficient(schmidt: ArrayLike) -> NDArray[np.float64]:
    """Coefficient of a rotating disk by the asymptote for liquids, 0.62048 Sc^(1/3).

    Parameters
    ----------
    schmidt : array_like
        Schmidt number, 100 or more. [1]

    Returns
    -------
    ndarray
        Coefficient, in the shape of the input. [1]

    Raises
    ------
    OutOfRangeError
        If a number is below 100: the asymptote is for liquids, not for vapour in a gas.

    Notes
    -----
    7 % high at 100, 3 % at 1000. For a gas use ``disk_coefficient``.

    References
    ----------
    .. [1] V. G. Levich, Physicochemical Hydrodynamics, Prentice-Hall (1962).

    Examples
    --------
    >>> float(liquid_disk_coefficient(1000.0).round(4))
    6.2048
    """
    (Sc,) = floats(schmidt)
    demand(
        Sc >= 100,
        where="liquid_disk_coefficient",
        mend="Give a Schmidt number of 100 or more; a gas needs disk_coefficient.",
    )
    return np.asarray(0.62048 * np.cbrt(Sc))


def transfer_velocity(
    speed: ArrayLike,
    diffusivity: ArrayLike,
    gas_viscosity: ArrayLike,
    disk_radius: ArrayLike = 0.1,
) -> NDArray[np.float64]:
    """Velocity with which a free rotating disk exchanges vapour with the gas.

    Parameters
    ----------
    speed : array_like
        Angular speed ω. [rad/s]
    diffusivity : array_like
        Diffusivity D of the vapour. [m²/s]
    gas_viscosity : array_like
        Kinematic viscosity ν of the gas. [m²/s]
    disk_radius : array_like
        Radius R of the disk; the law needs it for its range alone. [m]

    Returns
    -------
    ndarray
        Velocity C D √(ω/ν), in the broadcast shape. [m/s]

    Raises
    ------
    OutOfRangeError
        If a speed is negative, another input is not positive, or ν/D is outside 0.1 to
        1000.

    Notes
    -----
    Laminar up to Re = ω R²/ν of 2e5; warns above, where the flow becomes turbulent. A free
    disk: between stacked wafers the gas turns with them and the exchange is 0.05 to 1 of it.

    References
    ----------
    .. [1] E. M. Sparrow and J. L. Gregg, J. Heat Transfer 81, 249 (1959).

    Examples
    --------
    >>> float(transfer_velocity(209.4395, 2.57672e-5, 1.5547e-5).round(4))
    0.0279
    """
    w, D, nu, R = floats(speed, diffusivity, gas_viscosity, disk_radius)
    demand(
        (w >= 0) & (D > 0) & (nu > 0) & (R > 0),
        where="transfer_velocity",
        mend="Give a speed of zero or more, and the rest above zero.",
    )
    advise(
        w * R * R / nu <= LAMINAR_REYNOLDS,
        where="transfer_velocity",
        known="the laminar range, a Reynolds number of 2e5",
    )
    return np.asarray(disk_coefficient(nu / D) * D * np.sqrt(w / nu))


def film_evaporation(
    velocity: ArrayLike,
    film_temperature: ArrayLike,
    share: ArrayLike = 1.0,
    vapour_pressure: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Thickness of water that a face loses per time to the gas.

    Parameters
    ----------
    velocity : array_like
        Transfer velocity k. [m/s]
    film_temperature : array_like
        Temperature of the film, between the wet-bulb of the gas and that of the rinse. [K]
    share : array_like
        Exchange relative to a free disk, φ; 0.05 to 1 in a cassette, no published value.
        [1]
    vapour_pressure : array_like
        Pressure of the vapour already in the gas. [Pa]

    Returns
    -------
    ndarray
        Evaporation φ k (ρs - ρv)/ρl, in the broadcast shape. [m/s]

    Raises
    ------
    OutOfRangeError
        If a velocity or pressure is negative, the share not in 0 to 1, the gas wetter than
        the film, or a temperature outside 273.15 to 373.15 K.

    Notes
    -----
    Ideal vapour (0.2 % low at 25 °C).

    References
    ----------
    .. [1] Ideal gas; IAPWS SR1-86(1992) and Kell (1975).

    Examples
    --------
    >>> float((1e7 * film_evaporation(0.027927, 298.15)).round(2))
    6.45
    """
    k, T, phi, pv = floats(velocity, film_temperature, share, vapour_pressure)
    liquid, saturated = density(T), saturation_pressure(T)
    demand(
        (k >= 0) & (phi >= 0) & (phi <= 1) & (pv >= 0) & (pv <= saturated),
        where="film_evaporation",
        mend="Give a velocity of zero or more, a share of 0 to 1, and gas drier than the film.",
    )
    return np.asarray(phi * k * WATER_MOLAR_MASS * (saturated - pv) / (GAS_CONSTANT * T) / liquid)


@cache
def _coefficient_spline() -> CubicSpline:
    """Give ln C over ln Sc, from the swirl of von Kármán integrated outwards from the disk."""
    z = np.linspace(0.0, 8.0, 8001)
    shear_out, shear_round = _FREE_SHEAR
    swirl = solve_ivp(
        lambda _, y: [y[1], y[0] ** 2 - y[2] ** 2 + y[1] * y[4], y[3],
                      2 * y[0] * y[2] + y[3] * y[4], -2 * y[0]],
        (0.0, 8.0), [0.0, shear_out, 1.0, shear_round, 0.0],
        method="DOP853", rtol=1e-12, atol=1e-14, t_eval=z,
    )  # fmt: skip
    inflow = swirl.y[4]
    sunk = cumulative_simpson(inflow, x=z, initial=0)
    numbers = np.geomspace(0.09, 1100, 80)
    layers = [
        cumulative_simpson(np.exp(Sc * sunk), x=z)[-1] + np.exp(Sc * sunk[-1]) / (-Sc * inflow[-1])
        for Sc in numbers
    ]
    return CubicSpline(np.log(numbers), -np.log(layers))
