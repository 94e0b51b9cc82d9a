"""Temperatures at which water settles in a stream of dry nitrogen."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.evaporation import saturation_humidity
from spinproof.physics.gas_exchange import vapour_diffusivity
from spinproof.physics.nitrogen import HEAT_CAPACITY, gas_conductivity, gas_density
from spinproof.physics.validity import demand, floats
from spinproof.physics.water_thermal import latent_heat

_COLDEST = 273.15  # K; below it water freezes


def adiabatic_saturation(gas_temperature: ArrayLike) -> NDArray[np.float64]:
    """Temperature at which dry nitrogen leaves when it is saturated by its own heat.

    Parameters
    ----------
    gas_temperature : array_like
        Temperature of the dry gas, 281 to 373 K. [K]

    Returns
    -------
    ndarray
        Temperature T, from cp (T_gas - T) = ws(T) h_fg(T), in the shape of the input. [K]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range; below it the water would freeze.

    Notes
    -----
    Ideal gas; within 0.05 K of a real-gas library at 60 °C.

    References
    ----------
    .. [1] Balance of heat; vapour pressure by IAPWS SR1-86(1992).

    Examples
    --------
    >>> float((adiabatic_saturation(333.15) - 273.15).round(2))
    21.27
    """
    (gas,) = _dry_gas(gas_temperature, "adiabatic_saturation")

    def surplus(T: NDArray[np.float64]) -> NDArray[np.float64]:
        return HEAT_CAPACITY * (gas - T) - saturation_humidity(T) * latent_heat(T)

    return _falling_root(surplus, gas)


def wet_bulb(gas_temperature: ArrayLike) -> NDArray[np.float64]:
    """Temperature at which a wet surface settles in a stream of dry nitrogen.

    Parameters
    ----------
    gas_temperature : array_like
        Temperature of the dry gas, 281 to 373 K. [K]

    Returns
    -------
    ndarray
        Temperature T, from cp (T_gas - T) Le^(2/3) = h_fg ln(1 + ws), in the shape of the
        input. [K]

    Raises
    ------
    OutOfRangeError
        If a temperature lies outside the range; below it the water would freeze.

    Notes
    -----
    Lewis number at the mean temperature. No heat from the metal behind: that warms the film.
    The diffusivity, good to 5 %, moves it by some 0.5 K.

    References
    ----------
    .. [1] Analogy of heat and mass transfer, any textbook; Fuller et al. (1966) for the
       diffusivity.

    Examples
    --------
    >>> float((wet_bulb(333.15) - 273.15).round(1))
    20.1
    """
    (gas,) = _dry_gas(gas_temperature, "wet_bulb")

    def surplus(T: NDArray[np.float64]) -> NDArray[np.float64]:
        mean = (gas + T) / 2
        lewis = gas_conductivity(mean) / (
            gas_density(mean) * HEAT_CAPACITY * vapour_diffusivity(mean)
        )
        given = HEAT_CAPACITY * (gas - T) * lewis ** (2 / 3)
        return given - latent_heat(T) * np.log1p(saturation_humidity(T))

    return _falling_root(surplus, gas)


def _dry_gas(gas_temperature: ArrayLike, where: str) -> tuple[NDArray[np.float64], ...]:
    """Check the temperature of a dry gas."""
    (gas,) = floats(gas_temperature)
    demand(
        (gas >= 281.0) & (gas <= 373.0),
        where=where,
        mend="Give a temperature from 281 to 373 K: below, the water would freeze.",
    )
    return (gas,)


def _falling_root(
    surplus: Callable[[NDArray[np.float64]], NDArray[np.float64]], gas: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Halve the range from freezing to the gas until the falling surplus is located."""
    low, high = np.full(gas.shape, _COLDEST), np.minimum(gas, 333.15)
    for _ in range(40):
        middle = (low + high) / 2
        warmer = surplus(middle) > 0
        low, high = np.where(warmer, middle, low), np.where(warmer, high, middle)
    return (low + high) / 2
