"""Evaporation of the water that a head holds up into the nitrogen that flows through it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.nitrogen import MOLAR_MASS
from spinproof.physics.validity import floats, outside
from spinproof.physics.water import saturation_pressure

WATER_MOLAR_MASS = 18.015268e-3
"""Molar mass of water. [kg/mol]"""
LATENT_HEAT = 2.45e6
"""Heat of evaporation of water near 20 °C. [J/kg]"""


def saturation_humidity(
    temperature: ArrayLike, pressure: ArrayLike = 101325.0
) -> NDArray[np.float64]:
    r"""Mass of water vapour that a mass of nitrogen holds at saturation.

    .. math:: w_s = \frac{M_{H_2O}}{M_{N_2}}\,\frac{p_s(T)}{p - p_s(T)}

    Parameters
    ----------
    temperature : array_like
        Temperature of the wet surface. [K]
    pressure : array_like
        Pressure of the gas. [Pa]

    Returns
    -------
    ndarray
        Humidity ratio, in the broadcast shape of the inputs. [kg/kg]

    Raises
    ------
    OutOfRangeError
        If the vapour pressure reaches the gas pressure: the water boils.

    References
    ----------
    .. [1] Dalton's law; vapour pressure by IAPWS SR1-86(1992).

    Examples
    --------
    >>> float(saturation_humidity(293.15).round(5))
    0.0152
    """
    T, p = floats(temperature, pressure)
    vapour = saturation_pressure(T)
    holds = vapour < p
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="saturation_humidity",
            mend="Give a temperature below the boiling point at this pressure.",
            mask=~holds,
        )
    return np.asarray(WATER_MOLAR_MASS / MOLAR_MASS * vapour / (p - vapour))


def evaporation_rate(
    gas_flow: ArrayLike,
    exchange: ArrayLike,
    humidity_gap: ArrayLike,
    wet_share: ArrayLike,
) -> NDArray[np.float64]:
    r"""Rate at which a stream of gas takes up water from wet surfaces.

    .. math:: \dot m = \dot m_{gas}\,(w_s - w_{in})
              \left(1 - e^{-(G/\dot m_{gas})\,a}\right)

    Parameters
    ----------
    gas_flow : array_like
        Mass flow of the dry gas. [kg/s]
    exchange : array_like
        Mass exchange conductance G of the surfaces when all of them are wet. [kg/s]
    humidity_gap : array_like
        Saturation humidity at the surface less the humidity of the entering gas. [kg/kg]
    wet_share : array_like
        Share a of the surfaces that is still wet, 0 to 1. [1]

    Returns
    -------
    ndarray
        Evaporation rate, in the broadcast shape of the inputs. [kg/s]

    Raises
    ------
    OutOfRangeError
        If a flow is not positive, a conductance is negative, or the share is not in 0 to 1.

    Notes
    -----
    The gas leaves at most saturated, however fast the rotor turns. The conductance has no
    published value for a spin rinse dryer: it is to be fitted to a head's own runs.

    References
    ----------
    .. [1] Plug flow along a wet wall, the effectiveness of a mass exchanger; any textbook of mass
       transfer.

    Examples
    --------
    >>> float((6e4 * evaporation_rate(2.083e-3, 1.0, 0.0152, 1.0)).round(2))
    1.9
    """
    m, G, gap, a = floats(gas_flow, exchange, humidity_gap, wet_share)
    holds = (m > 0) & (G >= 0) & np.isfinite(gap) & (a >= 0) & (a <= 1)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="evaporation_rate",
            mend="Give a gas flow above zero, a conductance of zero or more and a share of 0 to 1.",
            mask=~holds,
        )
    return np.asarray(m * gap * -np.expm1(-G / m * a))
