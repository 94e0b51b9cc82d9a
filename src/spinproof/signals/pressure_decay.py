"""The leak of a closed volume from its falling pressure, with its temperature allowed for."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spinproof.signals.means import slope_of
from spinproof.stats.validity import require

REFERENCE_K = 293.15
"""Temperature at which a leak is stated. [K]"""
SCCM_PER_PA_M3_S = 6e7 / 101325.0
"""Cubic centimetres a minute of gas at 0 °C and 101.325 kPa in 1 Pa·m³/s that flows at 0 °C."""
FEWEST = 20
"""Readings below which a decay is not told from its scatter. [1]"""


@dataclass(frozen=True)
class Leak:
    """A leak, stated at the reference temperature."""

    rate: float
    """Leak. [Pa m3/s]"""
    uncertainty: float
    """Standard uncertainty. [Pa m3/s]"""


def leak_of(
    volume: float,
    pressures: tuple[float, float],
    temperatures: tuple[float, float],
    elapsed: float,
    *,
    pressure_uncertainty: float = 0.0,
    temperature_uncertainty: float = 0.0,
    correlation: float = 0.0,
    relative_volume_uncertainty: float = 0.0,
) -> Leak:
    r"""Leak of a closed volume by two readings of its absolute pressure and temperature.

    .. math:: Q = \frac{V\,T_\mathrm{ref}}{\Delta t}
        \left(\frac{p_1}{T_1} - \frac{p_2}{T_2}\right)

    Parameters
    ----------
    volume : float
        Volume of the seal and of what is closed in with it. [m3]
    pressures : tuple of float
        Absolute pressure at the begin and at the end. [Pa]
    temperatures : tuple of float
        Temperature of the gas at the begin and at the end. [K]
    elapsed : float
        Time between them. [s]
    pressure_uncertainty, temperature_uncertainty : float
        Standard uncertainty of each reading. [Pa], [K]
    correlation : float
        Correlation of the errors of the two readings of one instrument, 0 to 1: one sensor reads
        both ends, so most of its error is the same at both. [1]
    relative_volume_uncertainty : float
        Standard uncertainty of the volume in proportion to it. [1]

    Returns
    -------
    Leak
        Above zero when gas leaves; stated at 293.15 K.

    Raises
    ------
    OutOfRangeError
        If volume, time, a pressure or a temperature is not above zero, or the correlation does
        not lie between 0 and 1: gauge pressures and degrees Celsius give nonsense.

    Notes
    -----
    Ideal gas; the volume is taken as constant, which a soft seal is not quite.

    References
    ----------
    .. [1] EN 1779, pressure-change method (from memory); JCGM 100:2008, 5.2 for the correlation.

    Examples
    --------
    >>> round(leak_of(0.6e-3, (170e3, 168.5e3), (296.15, 295.65), 60.0).rate, 7)
    0.0120273
    """
    require(
        min(volume, elapsed, *pressures, *temperatures) > 0 and 0 <= correlation <= 1,
        "a volume, time, absolute pressure or temperature is not above zero",
        where="leak_of",
        mend="Give absolute pressures in Pa, temperatures in K, and a correlation of 0 to 1.",
    )
    size = volume * REFERENCE_K / elapsed
    ratios = [p / t for p, t in zip(pressures, temperatures, strict=True)]
    rate = size * (ratios[0] - ratios[1])
    by_pressure = [size / t for t in temperatures]
    by_heat = [size * r / t for r, t in zip(ratios, temperatures, strict=True)]
    variance = pressure_uncertainty**2 * _two_ends(by_pressure, correlation)
    variance += temperature_uncertainty**2 * _two_ends(by_heat, correlation)
    variance += (rate * relative_volume_uncertainty) ** 2
    return Leak(rate, float(np.sqrt(variance)))


def faked_by_temperature(pressure: float, temperature: float, change: float) -> float:
    """Change of pressure that a change of temperature alone makes in a tight volume.

    Parameters
    ----------
    pressure : float
        Absolute pressure. [Pa]
    temperature : float
        Temperature of the gas. [K]
    change : float
        Change of the temperature. [K]

    Returns
    -------
    float
        Change of the pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        If pressure or temperature is not above zero.

    Examples
    --------
    >>> round(faked_by_temperature(170e3, 296.15, 0.5), 1)
    287.0
    """
    require(
        pressure > 0 and temperature > 0,
        "an absolute pressure or temperature is not above zero",
        where="faked_by_temperature",
        mend="Give Pa absolute and K.",
    )
    return pressure * change / temperature


@dataclass(frozen=True)
class PressureFall:
    """How fast a pressure falls, its temperature allowed for."""

    rate: float
    """Fall of the pressure at the mean temperature. [Pa/s]"""
    uncertainty: float
    """Standard uncertainty. [Pa/s]"""
    by_scatter: float
    """The part of it that comes from the scatter about the line. [Pa/s]"""


def pressure_fall(
    time: ArrayLike,
    pressure: ArrayLike,
    temperature: ArrayLike,
    *,
    pressure_uncertainty: float = 0.0,
    temperature_uncertainty: float = 0.0,
    correlation: float = 0.0,
) -> PressureFall:
    """Fall of the pressure of a closed volume by a line through many readings.

    Parameters
    ----------
    time : array_like
        Increasing moments, evenly spaced or nearly so. [s]
    pressure : array_like
        Absolute pressures. [Pa]
    temperature : array_like
        Temperature of the gas at the same moments. [K]
    pressure_uncertainty, temperature_uncertainty : float
        Standard uncertainty of the instruments, beyond the scatter of their readings. [Pa], [K]
    correlation : float
        Correlation of an instrument's error at the begin with that at the end. [1]

    Returns
    -------
    PressureFall
        Above zero when gas leaves.

    Raises
    ------
    OutOfRangeError
        If there are fewer than twenty readings, or one is not above zero.

    Notes
    -----
    Holds for a loss that is small beside the pressure: the fall is then a line. Neighbouring
    readings that resemble one another widen the uncertainty. An error that turns from one end to
    the other counts as if it were a line of its own: 1/span of what ``leak_of`` takes for it.
    """
    t, p, k = (np.asarray(each, dtype=np.float64) for each in (time, pressure, temperature))
    require(
        t.size >= FEWEST and t.shape == p.shape == k.shape and min(p.min(), k.min()) > 0,
        f"{t.size} readings, or one that is not above zero, show no fall of a pressure",
        where="pressure_fall",
        mend=f"Give at least {FEWEST} absolute pressures in Pa with temperatures in K.",
    )
    middle = float(k.mean())
    slope, by_scatter = slope_of(t, p * middle / k)
    span = float(t[-1] - t[0])
    by_pressure = pressure_uncertainty / span
    by_heat = temperature_uncertainty * float(p.mean()) / middle / span
    between = _two_ends([1.0, 1.0], correlation)
    drift = between * (by_pressure**2 + by_heat**2)
    return PressureFall(-slope, float(np.sqrt(by_scatter**2 + drift)), by_scatter)


def _two_ends(sizes: list[float], correlation: float) -> float:
    """Give the variance of a difference for errors of size one at both ends."""
    first, last = sizes
    return first**2 + last**2 - 2 * correlation * first * last
