"""What a run uses: water, nitrogen, energy."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.history import columns
from spinproof.physics.nitrogen import HEAT_CAPACITY
from spinproof.physics.validity import demand


class RunUtilities(NamedTuple):
    """What a run used; arrays in the shape of the draws."""

    water: NDArray[np.float64]
    """Rinse water. [m³]"""
    nitrogen: NDArray[np.float64]
    """Nitrogen. [kg]"""
    gas_heat: NDArray[np.float64]
    """Heat that the nitrogen took up. [J]"""
    rotor_work: NDArray[np.float64]
    """Work against drag, and to speed the rotor up; braking gives none of it back. [J]"""


def run_utilities(
    time: ArrayLike,
    water_flow: ArrayLike,
    gas_flow: ArrayLike,
    gas_rise: ArrayLike,
    speed: ArrayLike,
    torque: ArrayLike,
    inertia: ArrayLike,
) -> RunUtilities:
    """Give what a run uses, from its history.

    Parameters
    ----------
    time : array_like
        Moments along the first axis, never decreasing; a moment given twice is a jump. [s]
    water_flow : array_like
        Flow of rinse water at those moments, linear between. [m³/s]
    gas_flow : array_like
        Mass flow of nitrogen. [kg/s]
    gas_rise : array_like
        Rise of the nitrogen's temperature in its heater. [K]
    speed : array_like
        Angular speed. [rad/s]
    torque : array_like
        Torque of drag at that speed. [N m]
    inertia : array_like
        Inertia of the rotor with its load. [kg m²]

    Returns
    -------
    RunUtilities
        Water, nitrogen, heat and work. [SI]

    Raises
    ------
    OutOfRangeError
        If a moment lies before its predecessor, or another input is negative or not finite.

    Notes
    -----
    Exact for inputs that are linear between the moments. Losses of heater, drive and controls come
    on top.

    References
    ----------
    .. [1] Balances of mass and energy.

    Examples
    --------
    >>> used = run_utilities([0.0, 45.0], 1 / 6000, 0.0, 0.0, 0.0, 0.0, 0.15)
    >>> float((1e3 * used.water).round(3))
    7.5
    """
    series = (time, water_flow, gas_flow, gas_rise, speed, torque)
    draws = np.broadcast_shapes(*(np.shape(one)[1:] for one in series), np.shape(inertia))
    t, *flows = columns(series, draws)
    demand(
        np.isfinite(t) & (np.diff(t, axis=0, prepend=-np.inf) >= 0),
        where="run_utilities, time",
        mend="Give moments that never decrease.",
    )
    J = np.ravel(np.broadcast_to(np.asarray(inertia, dtype=np.float64), draws))
    for values in (*flows, J):
        demand(
            (values >= 0) & np.isfinite(values),
            where="run_utilities",
            mend="Give finite flows, rises, speeds, torques and inertia of zero or more.",
        )
    water, gas, rise, w, drag = flows
    sped_up = np.sum(np.maximum(np.diff(w * w, axis=0), 0), axis=0) * J / 2
    totals = (
        _product(t, water, np.ones_like(water)),
        _product(t, gas, np.ones_like(gas)),
        HEAT_CAPACITY * _product(t, gas, rise),
        _product(t, w, drag) + sped_up,
    )
    n = int(np.prod(draws))
    return RunUtilities(*(np.broadcast_to(total, n).reshape(draws) for total in totals))


def _product(
    t: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Integrate the product of two factors that are linear between the moments, exactly."""
    mixed = 2 * a[:-1] * b[:-1] + 2 * a[1:] * b[1:] + a[:-1] * b[1:] + a[1:] * b[:-1]
    return np.asarray(np.sum(np.diff(t, axis=0) * mixed, axis=0) / 6)
