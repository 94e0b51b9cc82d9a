"""Nitrogen: its mass flow, and how a heater warms it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import demand, floats, outside

MOLAR_MASS = 28.0134e-3
"""Molar mass of nitrogen. [kg/mol]"""
HEAT_CAPACITY = 1041.4
"""Specific heat of nitrogen at constant pressure, 20 to 80 °C. [J/(kg K)]"""
GAS_CONSTANT = 8.314462618
"""Molar gas constant. [J/(mol K)]"""


def mass_flow_of(
    flow_slm: ArrayLike, reference_temperature: ArrayLike = 273.15
) -> NDArray[np.float64]:
    r"""Mass flow of nitrogen that is given in standard litres a minute.

    .. math:: \dot m = \frac{p_n M}{R\,T_n}\,\dot V_n, \qquad p_n = 101\,325\ \mathrm{Pa}

    Parameters
    ----------
    flow_slm : array_like
        Flow at the reference state. [L/min]
    reference_temperature : array_like
        Temperature Tn of that state; meters differ, and 20 °C lowers the mass by 6.8 %. [K]

    Returns
    -------
    ndarray
        Mass flow, in the broadcast shape of the inputs. [kg/s]

    Raises
    ------
    OutOfRangeError
        If a flow is negative or a temperature is not positive.

    References
    ----------
    .. [1] Ideal gas law with the CODATA 2018 gas constant.

    Examples
    --------
    >>> float(mass_flow_of(100.0).round(7))
    0.002083
    """
    V, Tn = floats(flow_slm, reference_temperature)
    holds = (V >= 0) & (Tn > 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="mass_flow_of",
            mend="Give a flow of zero or more and a reference temperature above 0 K.",
            mask=~holds,
        )
    return np.asarray(101325.0 * MOLAR_MASS / (GAS_CONSTANT * Tn) * V / 60000)


def heater_rise(
    power: ArrayLike,
    mass_flow: ArrayLike,
    loss: ArrayLike,
    heat_capacity: ArrayLike,
    time: ArrayLike,
) -> NDArray[np.float64]:
    r"""Temperature rise of the nitrogen behind a heater that was switched on cold.

    .. math:: \Delta T = \frac{P}{\dot m c_p + UA}\left(1 - e^{-t/\tau}\right),
              \qquad \tau = \frac{C}{\dot m c_p + UA}

    Parameters
    ----------
    power : array_like
        Heating power P. [W]
    mass_flow : array_like
        Mass flow of nitrogen. [kg/s]
    loss : array_like
        Conductance UA from the heater to the room. [W/K]
    heat_capacity : array_like
        Heat capacity C of the element and its housing. [J/K]
    time : array_like
        Time t since it was switched on. [s]

    Returns
    -------
    ndarray
        Rise above the inlet, in the broadcast shape of the inputs. [K]

    Raises
    ------
    OutOfRangeError
        If an input is negative, the heat capacity is zero, or neither flow nor loss takes the
        heat away: an element without flow burns out.

    Notes
    -----
    One lumped heat capacity, constant properties.

    References
    ----------
    .. [1] Energy balance; any textbook of heat transfer. Specific heat of nitrogen as CoolProp 8
       gives it between 20 and 80 °C.

    Examples
    --------
    >>> float(heater_rise(1000.0, 2.0838e-3, 0.0, 800.0, 1e6).round(1))
    460.8
    """
    P, m, UA, C, t = floats(power, mass_flow, loss, heat_capacity, time)
    carried = m * HEAT_CAPACITY + UA
    holds = (P >= 0) & (m >= 0) & (UA >= 0) & (carried > 0) & (C > 0) & (t >= 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="heater_rise",
            mend="Give a heat capacity above zero, a flow or a loss that takes the heat away, and "
            "nothing negative.",
            mask=~holds,
        )
    return np.asarray(P / carried * -np.expm1(-t * carried / C))


def gas_density(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Density of nitrogen at 101 325 Pa.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 250 to 400 K. [K]

    Returns
    -------
    ndarray
        Density, in the shape of the input. [kg/m³]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Ideal gas, within 3e-4 of the real one from 20 to 80 °C.

    References
    ----------
    .. [1] Ideal gas law.

    Examples
    --------
    >>> float(gas_density(298.15).round(3))
    1.145
    """
    (T,) = floats(temperature)
    demand(
        (T >= 250) & (T <= 400),
        where="gas_density",
        mend="Give a temperature from 250 to 400 K.",
    )
    return np.asarray(101325.0 * MOLAR_MASS / (GAS_CONSTANT * T))


def gas_viscosity(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Dynamic viscosity of nitrogen at low pressure.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 250 to 400 K. [K]

    Returns
    -------
    ndarray
        Dynamic viscosity, in the shape of the input. [Pa s]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range.

    Notes
    -----
    Within 2.4e-3 from 20 to 80 °C.

    References
    ----------
    .. [1] W. Sutherland, Phil. Mag. 36, 507 (1893); constants as in F. M. White, Viscous Fluid
       Flow (from memory).

    Examples
    --------
    >>> float((1e6 * gas_viscosity(298.15)).round(1))
    17.8
    """
    (T,) = floats(temperature)
    demand(
        (T >= 250) & (T <= 400),
        where="gas_viscosity",
        mend="Give a temperature from 250 to 400 K.",
    )
    return np.asarray(1.663e-5 * (T / 273) ** 1.5 * 380 / (T + 107))


def gas_conductivity(temperature: ArrayLike) -> NDArray[np.float64]:
    r"""Thermal conductivity of nitrogen at low pressure.

    Parameters
    ----------
    temperature : array_like
        Temperature T, 273 to 373 K. [K]

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
    A line through values of CoolProp 8, within 2e-3 from 20 to 80 °C.

    References
    ----------
    .. [1] E. W. Lemmon and R. T Jacobsen, Int. J. Thermophys. 25, 21 (2004), fitted here.

    Examples
    --------
    >>> float((1e3 * gas_conductivity(298.15)).round(1))
    25.8
    """
    (T,) = floats(temperature)
    demand(
        (T >= 273) & (T <= 373),
        where="gas_conductivity",
        mend="Give a temperature from 273 to 373 K.",
    )
    return np.asarray(0.025835 + 7.03e-5 * (T - 298.15))
