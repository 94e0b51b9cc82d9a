"""Liquid water at atmospheric pressure: viscosity, density, vapour pressure, resistivity."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import demand, floats, outside

CRITICAL_TEMPERATURE = 647.096
"""Critical temperature of water. [K]"""
CRITICAL_PRESSURE = 22.064e6
"""Critical pressure of water. [Pa]"""


def dynamic_viscosity(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Dynamic viscosity of liquid water at 0.1 MPa.

    .. math:: \mu = 10^{-6}\left(280.68\,x^{-1.9} + 511.45\,x^{-7.7} + 61.131\,x^{-19.6}
              + 0.45903\,x^{-40}\right), \qquad x = T / 300\ \mathrm K

    Parameters
    ----------
    temperature : array_like
        Temperature T, 253.15 to 383.15 K. [K]

    Returns
    -------
    ndarray
        Dynamic viscosity, in the shape of the input. [Pa s]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    References
    ----------
    .. [1] IAPWS SR6-08(2011), properties of common water at 0.1 MPa.

    Examples
    --------
    >>> float((1e3 * dynamic_viscosity(298.15)).round(4))
    0.89
    """
    (T,) = floats(temperature)
    holds = (T >= 253.15) & (T <= 383.15)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="dynamic_viscosity",
            mend="Give a temperature from 253.15 to 383.15 K.",
            mask=~holds,
        )
    x = T / 300
    return np.asarray(
        1e-6 * (280.68 * x**-1.9 + 511.45 * x**-7.7 + 61.131 * x**-19.6 + 0.45903 * x**-40.0)
    )


def density(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Density of air-free water at 101 325 Pa.

    .. math:: \rho = \frac{999.83952 + 16.945176\,t - 7.9870401\cdot10^{-3}t^2
              - 46.170461\cdot10^{-6}t^3 + 105.56302\cdot10^{-9}t^4 - 280.54253\cdot10^{-12}t^5}
              {1 + 16.87985\cdot10^{-3}t}, \qquad t = T - 273.15\ \mathrm K

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 373.15 K. [K]

    Returns
    -------
    ndarray
        Density, in the shape of the input. [kg/m³]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    References
    ----------
    .. [1] G. S. Kell, "Density, thermal expansivity, and compressibility of liquid water from 0
       to 150 °C," J. Chem. Eng. Data 20, 97-105 (1975).

    Examples
    --------
    >>> float(density(298.15).round(1))
    997.0
    """
    (T,) = floats(temperature)
    holds = (T >= 273.15) & (T <= 373.15)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="density",
            mend="Give a temperature from 273.15 to 373.15 K.",
            mask=~holds,
        )
    t = T - 273.15
    series = np.polynomial.polynomial.polyval(
        t, [999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12]
    )
    return np.asarray(series / (1 + 16.87985e-3 * t))


def kinematic_viscosity(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Kinematic viscosity of liquid water at atmospheric pressure.

    .. math:: \nu = \mu / \rho

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 373.15 K. [K]

    Returns
    -------
    ndarray
        Kinematic viscosity, in the shape of the input. [m²/s]

    Notes
    -----
    Never raises by itself: the two laws that it divides refuse what lies outside their range.

    References
    ----------
    .. [1] IAPWS SR6-08(2011) and Kell (1975), by ``dynamic_viscosity`` and ``density``.

    Examples
    --------
    >>> float((1e7 * kinematic_viscosity(298.15)).round(2))
    8.93
    """
    return np.asarray(dynamic_viscosity(temperature) / density(temperature))


def saturation_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Vapour pressure of water in equilibrium with its liquid.

    .. math:: \ln\frac{p}{p_c} = \frac{T_c}{T}\left(a_1\tau + a_2\tau^{1.5} + a_3\tau^3
              + a_4\tau^{3.5} + a_5\tau^4 + a_6\tau^{7.5}\right), \qquad \tau = 1 - T/T_c

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 K to the critical point. [K]

    Returns
    -------
    ndarray
        Saturation pressure, in the shape of the input. [Pa]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    References
    ----------
    .. [1] IAPWS SR1-86(1992), saturation properties of ordinary water substance; W. Wagner and
       A. Pruss, J. Phys. Chem. Ref. Data 22, 783-787 (1993).

    Examples
    --------
    >>> float(saturation_pressure(293.15).round(0))
    2339.0
    """
    (T,) = floats(temperature)
    holds = (T >= 273.15) & (T <= CRITICAL_TEMPERATURE)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="saturation_pressure",
            mend="Give a temperature from 273.15 K to the critical 647.096 K.",
            mask=~holds,
        )
    return np.asarray(vapour_pressure_law(T))


def vapour_pressure_law(T: Any) -> Any:  # a number when compiled, else an array
    """Give the saturation pressure [Pa] at a temperature [K] in range, unchecked.

    Parameters
    ----------
    T : float or ndarray
        Temperature, 273.15 K to the critical point. [K]

    Returns
    -------
    float or ndarray
        Saturation pressure. [Pa]

    Notes
    -----
    Never raises: the caller keeps the range. Plain arithmetic, so that loops may compile it.

    References
    ----------
    .. [1] IAPWS SR1-86(1992), as in ``saturation_pressure``.
    """
    tau = 1 - T / CRITICAL_TEMPERATURE
    root, cube = np.sqrt(tau), tau * tau * tau
    series = (
        -7.85951783 * tau
        + 1.84408259 * tau * root
        - 11.7866497 * cube
        + 22.6807411 * cube * root
        - 15.9618719 * cube * tau
        + 1.80122502 * cube * cube * tau * root
    )
    return CRITICAL_PRESSURE * np.exp(CRITICAL_TEMPERATURE / T * series)


def pure_water_conductivity(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Electrolytic conductivity of pure liquid water at atmospheric pressure.

    .. math:: \kappa = \sqrt{K_w}\,(\lambda_H + \lambda_{OH})

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273.15 to 333.15 K. [K]

    Returns
    -------
    ndarray
        Conductivity, in the shape of the input; 18.18 MΩ cm at 25 °C. [S/m]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Standard uncertainty 0.3 % at 25 °C, 1 % from 15 to 40 °C, 1.5 % from 10 to 60 °C, 3 % below.
    The conductivity of OH⁻ at 25 °C was chosen to give 18.18 MΩ cm there.

    References
    ----------
    .. [1] IAPWS R11-07(2019), ionization constant of water.
    .. [2] R. A. Robinson and R. H. Stokes, Electrolyte Solutions, 2nd ed., appendix 6.1: limiting
       ionic conductivities (points from memory, polynomials fitted here).
    .. [3] T. S. Light, S. Licht, A. C. Bevilacqua and K. R. Morash, Electrochem. Solid-State Lett.
       8, E16-E19 (2005): 18.18 MΩ cm.

    Examples
    --------
    >>> float((1e4 * pure_water_conductivity(298.15)).round(3))
    0.055
    """
    (T,) = floats(temperature)
    holds = (T >= 273.15) & (T <= 333.15)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="pure_water_conductivity",
            mend="Give a temperature from 273.15 to 333.15 K.",
            mask=~holds,
        )
    t = T - 273.15
    hydrogen = 224.919 + 5.060695 * t + 1.238489e-4 * t**2 - 1.238596e-4 * t**3
    hydroxide = 118.2699 + 3.096152 * t + 4.426564e-3 * t**2
    molality = 10 ** (-ionization_exponent(T, density(T)) / 2)
    # S cm²/mol times mol/L is 0.1 S/m
    return np.asarray(0.1 * molality * density(T) / 1000 * (hydrogen + hydroxide))


def ionization_exponent(temperature: ArrayLike, density: ArrayLike) -> NDArray[np.float64]:
    """Negative logarithm of the ion product of water, on the scale of molality.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 1073.15 K. [K]
    density : array_like
        Density of the water, up to 1250 kg/m³. [kg/m³]

    Returns
    -------
    ndarray
        pKw, in the broadcast shape. [1]

    Raises
    ------
    OutOfRangeError
        If a temperature or density lies outside the range.

    Notes
    -----
    Above freezing only; standard uncertainty 0.01 near room temperature.

    References
    ----------
    .. [1] IAPWS R11-07(2019), ionization constant of water.

    Examples
    --------
    >>> float(ionization_exponent(300.0, 1000.0).round(4))
    13.9066
    """
    T, rho = floats(temperature, density)
    demand(
        (T >= 273.15) & (T <= 1073.15) & (rho > 0) & (rho <= 1250),
        where="ionization_exponent",
        mend="Give a temperature from 273.15 to 1073.15 K and a density up to 1250 kg/m³.",
    )
    d = rho / 1000
    ideal_gas = 0.61415 + 48251.33 / T - 67707.93 / T**2 + 1.01021e7 / T**3
    q = d * np.exp(-0.864671 + 8659.19 / T - 22786.2 / T**2 * d ** (2 / 3))
    contact = q / (q + 1) * d * (0.642044 - 56.8534 / T - 0.375754 * d)
    return np.asarray(
        -12 * (np.log10(1 + q) - contact) + ideal_gas + 2 * np.log10(18.015268 / 1000)
    )
