"""Conductivity of nearly pure water: salt, carbon dioxide, lye, temperature.

Conductivities in S/m; 1e-4 S/m is one µS/cm. ``rinse.resistivity_of`` gives MΩ cm.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand, floats
from spinproof.physics.water import density, ionization_exponent, pure_water_conductivity

SALT_MOLAR_MASS = 58.4428e-3
"""Molar mass of sodium chloride. [kg/mol]"""
CARBON_DIOXIDE_MOLAR_MASS = 44.0095e-3
"""Molar mass of carbon dioxide. [kg/mol]"""
LYE_MOLAR_MASS = 39.9971e-3
"""Molar mass of sodium hydroxide. [kg/mol]"""
# limiting ionic conductivities in S cm²/mol over °C, 0 to 60 °C
_HYDROGEN = (224.919, 5.060695, 1.238489e-4, -1.238596e-4)
_HYDROXIDE = (118.2699, 3.096152, 4.426564e-3)
_SODIUM = (26.3790, 0.792803, 6.82121e-3, -2.264927e-5)
_CHLORIDE = (40.9676, 1.290844, 5.272857e-3, -9.12047e-6)
_BICARBONATE = (44.5 * (1 - 0.0206 * 25), 44.5 * 0.0206)
_RANGE = "Give a temperature from 273.15 to 333.15 K and shares of zero or more, up to 1e-5."


def salted_conductivity(temperature: ArrayLike, salt: ArrayLike) -> NDArray[np.float64]:
    """Conductivity of pure water with a trace of sodium chloride.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 333.15 K. [K]
    salt : array_like
        Mass of salt by mass of water, up to 1e-5; 1e-9 is one ppb. [kg/kg]

    Returns
    -------
    ndarray
        Conductivity, in the broadcast shape. [S/m]

    Raises
    ------
    OutOfRangeError
        If a temperature or share lies outside the range.

    Notes
    -----
    Ions taken as independent: within 0.3 % of a speciation code at 25 °C.

    References
    ----------
    .. [1] R. A. Robinson and R. H. Stokes, Electrolyte Solutions, 2nd ed., appendix 6.1
       (points from memory, polynomials fitted here).

    Examples
    --------
    >>> float((1e-4 / salted_conductivity(298.15, 10e-9)).round(2))
    13.06
    """
    T, w = _traces(temperature, salt, "salted_conductivity")
    amount = w * density(T) / SALT_MOLAR_MASS
    return np.asarray(pure_water_conductivity(T) + 1e-4 * amount * _salt_mobility(T))


def carbonated_conductivity(
    temperature: ArrayLike, carbon_dioxide: ArrayLike
) -> NDArray[np.float64]:
    """Conductivity of pure water with dissolved carbon dioxide.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 333.15 K. [K]
    carbon_dioxide : array_like
        Mass of carbon dioxide, dissociated or not, by mass of water, up to 1e-5. [kg/kg]

    Returns
    -------
    ndarray
        Conductivity, in the broadcast shape. [S/m]

    Raises
    ------
    OutOfRangeError
        If a temperature or share lies outside the range.

    Notes
    -----
    First dissociation only; good to 0.3 % at 25 °C.

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46, 1011 (1982).

    Examples
    --------
    >>> float((1e-4 / carbonated_conductivity(298.15, 100e-9)).round(2))
    3.1
    """
    T, w = _traces(temperature, carbon_dioxide, "carbonated_conductivity")
    t = T - 273.15
    Kw = _ion_product(T)
    h = hydrogen_with_carbon_dioxide(T, w)
    rest = _at(_HYDROXIDE, t) * Kw / h + _at(_BICARBONATE, t) * (h - Kw / h)
    return np.asarray(0.1 * (_at(_HYDROGEN, t) * h + rest))


def hydrogen_with_carbon_dioxide(
    temperature: ArrayLike, carbon_dioxide: ArrayLike
) -> NDArray[np.float64]:
    """Concentration of hydrogen ions in pure water with dissolved carbon dioxide.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 333.15 K. [K]
    carbon_dioxide : array_like
        Mass of carbon dioxide, dissociated or not, by mass of water, up to 1e-5. [kg/kg]

    Returns
    -------
    ndarray
        Concentration; its negative logarithm is the pH. [mol/L]

    Raises
    ------
    OutOfRangeError
        If a temperature or share lies outside the range.

    Notes
    -----
    First dissociation only: h = Kw/h + K1 C/(h + K1).

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46, 1011 (1982).

    Examples
    --------
    >>> float(-np.log10(hydrogen_with_carbon_dioxide(298.15, 100e-9)).round(2))
    6.09
    """
    T, w = _traces(temperature, carbon_dioxide, "hydrogen_with_carbon_dioxide")
    K, Kw = _first_dissociation(T), _ion_product(T)
    total = w * density(T) / CARBON_DIOXIDE_MOLAR_MASS / 1000
    h = np.sqrt(Kw + K * total)  # above the root: the residual is convex and rising from there
    for _ in range(30):
        residual = h - Kw / h - K * total / (h + K)
        h = h - residual / (1 + Kw / h**2 + K * total / (h + K) ** 2)
    return np.asarray(h)


def dissolved_carbon_dioxide(
    temperature: ArrayLike, partial_pressure: ArrayLike
) -> NDArray[np.float64]:
    """Carbon dioxide that pure water takes up from a gas, undissociated and dissociated.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 333.15 K. [K]
    partial_pressure : array_like
        Partial pressure of carbon dioxide in the gas. [Pa]

    Returns
    -------
    ndarray
        Mass by mass of water, in the broadcast shape. [kg/kg]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range, or a pressure is negative or would dissolve
        more than 1e-5.

    Notes
    -----
    At equilibrium, which open water reaches in hours. Open to room air, water does not stay
    above 1 MΩ cm.

    References
    ----------
    .. [1] L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46, 1011 (1982).

    Examples
    --------
    >>> float((1e9 * dissolved_carbon_dioxide(298.15, 420e-6 * 101325)).round(-1))
    740.0
    """
    T, p = floats(temperature, partial_pressure)
    holds = (T >= 273.15) & (T <= 333.15) & (p >= 0) & (p < 500.0)
    demand(
        holds,
        where="dissolved_carbon_dioxide",
        mend="Give a temperature from 273.15 to 333.15 K and a pressure of 0 to 500 Pa.",
    )
    solved = _henry(T) * p / 101325
    acid = _first_dissociation(T) * solved
    total = solved + acid / np.sqrt(_ion_product(T) + acid)
    return np.asarray(total * 1000 * CARBON_DIOXIDE_MOLAR_MASS / density(T))


def alkaline_conductivity(temperature: ArrayLike, lye: ArrayLike) -> NDArray[np.float64]:
    """Conductivity of pure water with a trace of sodium hydroxide.

    Parameters
    ----------
    temperature : array_like
        Temperature, 273.15 to 333.15 K. [K]
    lye : array_like
        Mass of sodium hydroxide by mass of water, up to 1e-5. [kg/kg]

    Returns
    -------
    ndarray
        Conductivity, in the broadcast shape. [S/m]

    Raises
    ------
    OutOfRangeError
        If a temperature or share lies outside the range.

    Notes
    -----
    A little lye lowers the conductivity: a reading up to 0.5 % above pure water is no fault.

    References
    ----------
    .. [1] G. Otten, ASTM STP 742 (1981).

    Examples
    --------
    >>> float((1e-4 / alkaline_conductivity(298.15, 0.8e-9)).round(2))
    18.27
    """
    T, w = _traces(temperature, lye, "alkaline_conductivity")
    t, Kw = T - 273.15, _ion_product(T)
    sodium = w * density(T) / LYE_MOLAR_MASS / 1000
    h = Kw / (sodium / 2 + np.sqrt(sodium**2 / 4 + Kw))
    ions = _at(_HYDROGEN, t) * h + _at(_HYDROXIDE, t) * Kw / h + _at(_SODIUM, t) * sodium
    return np.asarray(0.1 * ions)


def compensated_conductivity(
    conductivity: ArrayLike, temperature: ArrayLike
) -> NDArray[np.float64]:
    """Conductivity that a sample would have at 25 °C.

    Parameters
    ----------
    conductivity : array_like
        Conductivity that was read, not compensated. [S/m]
    temperature : array_like
        Temperature of the sample, 273.15 to 333.15 K. [K]

    Returns
    -------
    ndarray
        Conductivity at 25 °C, in the broadcast shape. [S/m]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range, or a conductivity is not positive.

    Notes
    -----
    Water and salt are compensated apart; for sodium chloride exact, for acids some per cent
    off. One kelvin of error is 5.6 % of the resistivity of pure water. A reading below that of
    pure water stays below it.

    References
    ----------
    .. [1] As ASTM D5391 does in principle; mobilities of Robinson and Stokes.

    Examples
    --------
    >>> warm = salted_conductivity(313.15, 10e-9)
    >>> float((1e-4 / compensated_conductivity(warm, 313.15)).round(2))
    13.06
    """
    kappa, T = floats(conductivity, temperature)
    demand(
        (T >= 273.15) & (T <= 333.15) & (kappa > 0),
        where="compensated_conductivity",
        mend="Give a temperature from 273.15 to 333.15 K and a conductivity above zero.",
    )
    at_25 = np.asarray(298.15)
    ratio = _salt_mobility(T) * density(T) / (_salt_mobility(at_25) * density(at_25))
    return np.asarray(pure_water_conductivity(at_25) + (kappa - pure_water_conductivity(T)) / ratio)


def _traces(
    temperature: ArrayLike, share: ArrayLike, where: str
) -> tuple[NDArray[np.float64], ...]:
    """Check a temperature and a share by mass."""
    T, w = floats(temperature, share)
    demand((T >= 273.15) & (T <= 333.15) & (w >= 0) & (w <= 1e-5), where=where, mend=_RANGE)
    return T, w


def _at(series: tuple[float, ...], t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give a polynomial at a temperature in °C."""
    return np.asarray(np.polynomial.polynomial.polyval(t, series))


def _salt_mobility(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the limiting conductivity of sodium chloride. [S cm²/mol]."""
    return _at(_SODIUM, T - 273.15) + _at(_CHLORIDE, T - 273.15)


def _ion_product(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the ion product of water. [(mol/L)²]."""
    d = density(T) / 1000
    return np.asarray(10 ** -ionization_exponent(T, density(T)) * d**2)


def _first_dissociation(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the first dissociation constant of carbonic acid, Plummer and Busenberg. [mol/L]."""
    series = -356.3094 - 0.06091964 * T + 21834.37 / T + 126.8339 * np.log10(T) - 1684915 / T**2
    return np.asarray(10**series)


def _henry(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the solubility of carbon dioxide, Plummer and Busenberg. [mol/(L atm)]."""
    series = 108.3865 + 0.01985076 * T - 6919.53 / T - 40.45154 * np.log10(T) + 669365 / T**2
    return np.asarray(10**series)
