"""Liquid water at atmospheric pressure: heat, surface and field."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand, floats
from spinproof.physics.water import CRITICAL_TEMPERATURE

_HEAT_SERIES = [
    4218.943,
    -3.195802,
    0.096557,
    -0.001420901,
    1.101232e-05,
    -3.298688e-08,
]  # J/(kg K), in °C


def surface_tension(temperature: ArrayLike) -> NDArray[np.float64]:
    """Surface tension of water against its vapour.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 647.096 K. [K]

    Returns
    -------
    ndarray
        Surface tension, in the shape of the input. [N/m]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Standard uncertainty 0.5 % below 100 °C. Traces of surfactant lower it far more.

    References
    ----------
    .. [1] IAPWS R1-76(2014), surface tension of ordinary water substance.

    Examples
    --------
    >>> float((1e3 * surface_tension(298.15)).round(2))
    71.97
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273.15) & (T <= 647.096),
        where="surface_tension",
        mend="Give a temperature from 273.15 to 647.096 K.",
    )
    tau = 1 - T / CRITICAL_TEMPERATURE
    return np.asarray(0.2358 * tau**1.256 * (1 - 0.625 * tau))


def latent_heat(temperature: ArrayLike) -> NDArray[np.float64]:
    """Heat of evaporation of water.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 333.15 K. [K]

    Returns
    -------
    ndarray
        Heat of evaporation, in the shape of the input. [J/kg]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    A line through IAPWS-95, within 2e-4 of it.

    References
    ----------
    .. [1] IAPWS R6-95(2018), fitted here.

    Examples
    --------
    >>> float(latent_heat(293.15).round(-3))
    2453000.0
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273.15) & (T <= 333.15),
        where="latent_heat",
        mend="Give a temperature from 273.15 to 333.15 K.",
    )
    return np.asarray(2.50112e6 - 2383.24 * (T - 273.15))


def heat_capacity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Specific heat of liquid water at constant pressure.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 373.12 K. [K]

    Returns
    -------
    ndarray
        Specific heat, in the shape of the input. [J/(kg K)]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    A fifth-order polynomial through IAPWS-95 at 101 325 Pa, within 3e-4 of it.

    References
    ----------
    .. [1] IAPWS R6-95(2018), fitted here.

    Examples
    --------
    >>> float(heat_capacity(298.15).round(0))
    4181.0
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273.15) & (T <= 373.12),
        where="heat_capacity",
        mend="Give a temperature from 273.15 to 373.12 K.",
    )
    return np.asarray(np.polynomial.polynomial.polyval(T - 273.15, _HEAT_SERIES), dtype=np.float64)


def thermal_conductivity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Thermal conductivity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 383.15 K. [K]

    Returns
    -------
    ndarray
        Thermal conductivity, in the shape of the input. [W/(m K)]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Within 3e-5 of the full release from 10 to 60 °C.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), properties of common water at 0.1 MPa.

    Examples
    --------
    >>> float(thermal_conductivity(298.15).round(4))
    0.6065
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273.15) & (T <= 383.15),
        where="thermal_conductivity",
        mend="Give a temperature from 273.15 to 383.15 K.",
    )
    x = T / 300
    return np.asarray(1.6630 * x**-1.15 - 1.7781 * x**-3.4 + 1.1567 * x**-6.0 - 0.432115 * x**-7.6)


def permittivity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Relative permittivity of liquid water in a static field, at 0.1 MPa.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 383.15 K. [K]

    Returns
    -------
    ndarray
        Relative permittivity, in the shape of the input. [1]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Within 0.05 of IAPWS R8-97.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), properties of common water at 0.1 MPa.

    Examples
    --------
    >>> float(permittivity(298.15).round(1))
    78.4
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273.15) & (T <= 383.15),
        where="permittivity",
        mend="Give a temperature from 273.15 to 383.15 K.",
    )
    x = T / 300
    return np.asarray(
        -43.7527 * x**-0.05 + 299.504 * x**-1.47 - 399.364 * x**-2.11 + 221.327 * x**-2.31
    )
