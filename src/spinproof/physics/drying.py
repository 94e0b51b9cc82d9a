"""Drying of the water that slots, joints and bowl hold up, for one recipe or many draws of it.

The wafer's own film dries in seconds (``film_drying``); what takes minutes is the hold-up. Neither
its mass nor its exchange conductance has a published value: fit them to a head's own runs.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.evaporation import LATENT_HEAT, WATER_MOLAR_MASS, saturation_humidity
from spinproof.physics.history import columns, draws_shape
from spinproof.physics.nitrogen import HEAT_CAPACITY, MOLAR_MASS
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.physics.validity import demand, floats
from spinproof.physics.water import vapour_pressure_law

GAS_DENSITY = 1.13
"""Density of the gas that the exchange conductance counts with. [kg/m³]"""
_PRESSURE = 101325.0
_HOTTEST = 372.0  # K; the humidity law has no value where water boils
_TOLERANCE = 1e-5  # of the transformed mass, and of 100 K, in each step
_vapour_pressure = njit(cache=True, error_model="numpy")(vapour_pressure_law)


@dataclass(frozen=True)
class DryingHistory:
    """What a recipe, or the trace of a run, does to the water that is held up.

    Each array has the moments along its first axis; further axes are draws. Between the moments
    everything is linear; a moment given twice is a jump.

    Attributes
    ----------
    time : array_like
        Moments, never decreasing. [s]
    speed : array_like
        Angular speed. [rad/s]
    gas_flow : array_like
        Mass flow of dry nitrogen, see ``nitrogen.mass_flow_of``. [kg/s]
    gas_temperature : array_like
        Temperature of the nitrogen where it enters the bowl. [K]
    """

    time: ArrayLike
    speed: ArrayLike
    gas_flow: ArrayLike
    gas_temperature: ArrayLike


@dataclass(frozen=True)
class WetBowl:
    """What holds the water up, and what it exchanges heat and vapour with. Fields broadcast.

    Attributes
    ----------
    hold_up : array_like
        Mass of water when the history begins. [kg]
    conductance : array_like
        Exchange conductance at 1000 rpm; it grows with the root of the speed. [m³/s]
    heat_capacity : array_like
        Heat capacity of the metal and plastic in touch with the water. [J/K]
    windage : array_like
        Heat that the spinning rotor leaves in the bowl at 2000 rpm; grows with the cube. [W]
    temperature : array_like
        Temperature of water and bowl when the history begins. [K]
    inlet_humidity : array_like
        Humidity ratio of the entering nitrogen. [kg/kg]
    shrinkage : array_like
        Exponent with which the wet area follows the mass: 2/3 for drops, 0 for a covered
        sheet. [1]
    """

    hold_up: ArrayLike
    conductance: ArrayLike
    heat_capacity: ArrayLike
    windage: ArrayLike
    temperature: ArrayLike
    inlet_humidity: ArrayLike = 0.0
    shrinkage: ArrayLike = 2 / 3


class HoldUpEnd(NamedTuple):
    """How the hold-up stands when a history ends; arrays in the shape of the draws."""

    mass: NDArray[np.float64]
    """Water left. [kg]"""
    temperature: NDArray[np.float64]
    """Temperature of what held it. [K]"""
    dry_time: NDArray[np.float64]
    """Moment at which the mass came down to the residual; infinite where it never did. [s]"""


class HoldUpCourse(NamedTuple):
    """How the hold-up went; the moments of the history along the first axis, then the draws."""

    mass: NDArray[np.float64]
    """Water left. [kg]"""
    temperature: NDArray[np.float64]
    """Temperature of what holds it. [K]"""


def dry_hold_up(history: DryingHistory, bowl: WetBowl, residual: ArrayLike) -> HoldUpEnd:
    r"""Follow the water that is held up through a history to its end.

    .. math:: \dot m = -\dot m_{gas}\,(w_s(T) - w_{in})
              \left(1 - e^{-(G/\dot m_{gas})(m/m_0)^\beta}\right), \qquad
              G = k\!A\,\sqrt{n/1000}\;\rho_g
    .. math:: C\dot T = \dot m_{gas} c_p (T_{gas} - T)\left(1 - e^{-G/\dot m_{gas}}\right)
              + P_w (n/2000)^3 + h_{fg}\,\dot m

    Parameters
    ----------
    history : DryingHistory
        Speed, flow and temperature of the gas over time; one or many draws. [SI]
    bowl : WetBowl
        What holds the water; its fields broadcast with the draws. [SI]
    residual : array_like
        Mass that counts as dry. [kg]

    Returns
    -------
    HoldUpEnd
        Mass left, temperature, and the moment at which it was dry, a value for each draw. [SI]

    Raises
    ------
    OutOfRangeError
        If a moment lies before its predecessor; a speed, flow, conductance, windage, humidity or
        residual is negative or not finite; a hold-up or heat capacity is not positive; a
        temperature is not between 273.15 and 372 K; the exponent is not in 0 to below 1; the gas
        enters wetter than the coldest surface; or windage would boil the water.

    Notes
    -----
    Lumped: one temperature, one wet area. The gas leaves saturated at most, so no history dries
    faster than the mass divided by flow times humidity. Integrated to 2e-4 of the hold-up or
    better.
    The structure itself is uncertain: two plausible ones gave odds of 0.77 and 0.97 for the same
    priors. Without calibration the dry time is known to a factor of about ten.

    References
    ----------
    .. [1] Balances of mass and heat with the effectiveness of a mass exchanger; IAPWS SR1-86(1992)
       for the vapour pressure. The conductance follows the laminar disk of E. M. Sparrow and J. L.
       Gregg, J. Heat Transfer 81, 249 (1959), by its root of the speed.

    Examples
    --------
    >>> history = DryingHistory([0.0, 300.0], 209.44, 2.4996e-3, 333.15)
    >>> bowl = WetBowl(5e-3, 0.01, 3000.0, 50.0, 293.15)
    >>> float(dry_hold_up(history, bowl, 1e-4).dry_time.round(1))
    131.0
    """
    drive, rows, shape = _arranged(history, bowl, residual)
    end, _ = _checked_runs(drive, rows, shape, keep=False)
    mass, temperature, dry_time = (end[:, i].reshape(shape) for i in range(3))
    return HoldUpEnd(mass, temperature, dry_time)


def hold_up_course(history: DryingHistory, bowl: WetBowl) -> HoldUpCourse:
    r"""Follow the water that is held up, and keep its state at each moment of the history.

    Parameters
    ----------
    history : DryingHistory
        Speed, flow and temperature of the gas over time; one or many draws. [SI]
    bowl : WetBowl
        What holds the water; its fields broadcast with the draws. [SI]

    Returns
    -------
    HoldUpCourse
        Mass and temperature, moments along the first axis, then the draws. [kg, K]

    Raises
    ------
    OutOfRangeError
        As ``dry_hold_up``.

    Notes
    -----
    The law, its range and its error are those of ``dry_hold_up``.

    References
    ----------
    .. [1] As ``dry_hold_up``.

    Examples
    --------
    >>> history = DryingHistory([0.0, 60.0, 300.0], 209.44, 2.4996e-3, 333.15)
    >>> bowl = WetBowl(5e-3, 0.01, 3000.0, 50.0, 293.15)
    >>> (1e3 * hold_up_course(history, bowl).mass).round(2)
    array([5.  , 2.65, 0.  ])
    """
    drive, rows, shape = _arranged(history, bowl, 0.0)
    _, course = _checked_runs(drive, rows, shape, keep=True)
    moments = course.shape[1]
    return HoldUpCourse(course[0].reshape((moments, *shape)), course[1].reshape((moments, *shape)))


def shortest_drying(
    hold_up: ArrayLike, gas_flow: ArrayLike, temperature: ArrayLike, inlet_humidity: ArrayLike = 0.0
) -> NDArray[np.float64]:
    r"""Time below which no exchange can dry a hold-up: gas that leaves saturated.

    .. math:: t_{min} = \frac{m_0}{\dot m_{gas}\,(w_s(T) - w_{in})}

    Parameters
    ----------
    hold_up : array_like
        Mass of water. [kg]
    gas_flow : array_like
        Mass flow of dry gas. [kg/s]
    temperature : array_like
        Temperature of the wet surface, held. [K]
    inlet_humidity : array_like
        Humidity ratio of the entering gas. [kg/kg]

    Returns
    -------
    ndarray
        Time, in the broadcast shape of the inputs. [s]

    Raises
    ------
    OutOfRangeError
        If the hold-up is negative, the flow is not positive, the gas enters as wet as it could
        leave, or the temperature is outside the humidity law.

    Notes
    -----
    Holds for one temperature; a surface that warms up meanwhile is dry earlier.

    References
    ----------
    .. [1] Mass balance; vapour pressure by IAPWS SR1-86(1992).

    Examples
    --------
    >>> float(shortest_drying(5e-3, 2.499638e-3, 293.15).round(1))
    131.6
    """
    m, flow, T, w = floats(hold_up, gas_flow, temperature, inlet_humidity)
    gap = saturation_humidity(T) - w
    demand(
        (m >= 0) & (flow > 0) & (w >= 0) & (gap > 0),
        where="shortest_drying",
        mend="Give a hold-up of zero or more, a flow above zero and gas drier than the surface.",
    )
    return np.asarray(m / (flow * gap))


def _arranged(
    history: DryingHistory, bowl: WetBowl, residual: ArrayLike
) -> tuple[tuple[NDArray[np.float64], ...], NDArray[np.float64], tuple[int, ...]]:
    """Check the inputs; give histories as columns, the bowl as a row a draw, the draws' shape."""
    series = (history.time, history.speed, history.gas_flow, history.gas_temperature)
    fields = floats(
        bowl.hold_up,
        bowl.conductance,
        bowl.heat_capacity,
        bowl.windage,
        bowl.temperature,
        bowl.inlet_humidity,
        bowl.shrinkage,
        residual,
    )
    shape = draws_shape(series, fields[0].shape)
    time, speed, flow, gas = drive = columns(series, shape)
    m, kA, C, P, T, w, beta, left = (np.broadcast_to(field, shape) for field in fields)
    demand(
        np.isfinite(time) & (np.diff(time, axis=0, prepend=-np.inf) >= 0),
        where="drying history, time",
        mend="Give moments that never decrease.",
    )
    for name, holds in (
        ("speed", (speed >= 0) & np.isfinite(speed)),
        ("gas_flow", (flow >= 0) & np.isfinite(flow)),
        ("gas_temperature", (gas >= 273.15) & (gas <= _HOTTEST)),
    ):
        demand(holds, where=f"drying history, {name}", mend="Give finite values, 273.15 to 372 K.")
    coldest = np.minimum(T, gas.min(axis=0).reshape(shape if gas.shape[1] > 1 else ()))
    demand(
        (m > 0) & (kA >= 0) & (C > 0) & (P >= 0) & (w >= 0) & (beta >= 0) & (beta < 1)
        & (left >= 0) & (T >= 273.15) & (T <= _HOTTEST) & np.isfinite(m + kA + C + P + w + left),
        where="wet bowl",
        mend="Give a hold-up and heat capacity above zero, 273.15 to 372 K, an exponent of 0 to "
        "below 1, and nothing negative.",
    )  # fmt: skip
    demand(
        w < saturation_humidity(coldest),
        where="wet bowl, inlet_humidity",
        mend="Give gas that is drier than saturation at the coldest surface.",
    )
    rows = np.stack([np.ravel(x) for x in (m, kA, C, P, T, w, beta, left)], axis=-1)
    return drive, rows, shape


def _checked_runs(
    drive: tuple[NDArray[np.float64], ...],
    rows: NDArray[np.float64],
    shape: tuple[int, ...],
    *,
    keep: bool,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Run all draws; refuse those whose water would boil."""
    end = np.empty((len(rows), 4))
    course = np.empty((2, len(drive[0]) if keep else 0, len(rows)))
    time, speed, flow, gas = drive
    _run_all(time, speed, flow, gas, rows, end, course)
    demand(
        (end[:, 3] <= _HOTTEST).reshape(shape),
        where="wet bowl, windage",
        mend="Give less windage, more gas or less hot gas: the water would boil.",
    )
    return end, course


@njit(cache=True, error_model="numpy")
def _exchange(speed, flow, row):  # type: ignore[no-untyped-def] # compiled
    """Give flow, transfer units, conductance to the gas [W/K] and windage [W]."""
    thousand = speed / (1000 * RAD_PER_S_PER_RPM)
    heat = row[3] * (thousand / 2) ** 3
    if flow <= 0.0:
        return 0.0, 0.0, 0.0, heat
    units = row[1] * np.sqrt(thousand) * GAS_DENSITY / flow
    return flow, units, flow * HEAT_CAPACITY * -np.expm1(-units), heat


@njit(cache=True, error_model="numpy")
def _rates(u, kelvin, gas, exchange, row, wet):  # type: ignore[no-untyped-def] # compiled
    """Give the slopes of u = (m/m0)^(1 - beta), which falls smoothly to zero, and of T."""
    flow, units, conductance, heat = exchange
    heat += conductance * (gas - kelvin)
    if not wet or flow <= 0.0:
        return 0.0, heat / row[2]
    vapour = _vapour_pressure(min(kelvin, _HOTTEST))
    carried = flow * (WATER_MOLAR_MASS / MOLAR_MASS * vapour / (_PRESSURE - vapour) - row[5])
    power = row[6] / (1 - row[6])
    left = max(u, 0.0)
    share = units * (left * left if abs(power - 2.0) < 1e-12 else left**power)
    taken = -np.expm1(-share)
    steepness = units if share < 1e-12 else units * taken / share
    return -(1 - row[6]) / row[0] * carried * steepness, (
        heat - LATENT_HEAT * carried * taken
    ) / row[2]


@njit(cache=True, error_model="numpy")
def _classic_step(u, kelvin, h, gas, exchange, row, wet):  # type: ignore[no-untyped-def] # compiled
    """Make one fourth-order step of Runge and Kutta; gas and exchange at its three moments."""
    a, p = _rates(u, kelvin, gas[0], exchange[0], row, wet)
    b, q = _rates(u + h / 2 * a, kelvin + h / 2 * p, gas[1], exchange[1], row, wet)
    c, r = _rates(u + h / 2 * b, kelvin + h / 2 * q, gas[1], exchange[1], row, wet)
    d, s = _rates(u + h * c, kelvin + h * r, gas[2], exchange[2], row, wet)
    return u + h / 6 * (a + 2 * b + 2 * c + d), kelvin + h / 6 * (p + 2 * q + 2 * r + s)


@njit(cache=True, error_model="numpy")
def _step(u, kelvin, drive, slope, h, row, wet):  # type: ignore[no-untyped-def] # compiled
    """Step once and in two halves; give the extrapolated state and its error."""
    g0, gh = drive[2], slope[2] * h / 4
    e0 = _exchange(drive[0], drive[1], row)
    e1, e2, e3, e4 = e0, e0, e0, e0
    if slope[0] != 0.0 or slope[1] != 0.0:
        e1 = _exchange(drive[0] + slope[0] * h / 4, drive[1] + slope[1] * h / 4, row)
        e2 = _exchange(drive[0] + slope[0] * h / 2, drive[1] + slope[1] * h / 2, row)
        e3 = _exchange(drive[0] + slope[0] * h * 0.75, drive[1] + slope[1] * h * 0.75, row)
        e4 = _exchange(drive[0] + slope[0] * h, drive[1] + slope[1] * h, row)
    whole, early = (g0, g0 + 2 * gh, g0 + 4 * gh), (g0, g0 + gh, g0 + 2 * gh)
    late = (g0 + 2 * gh, g0 + 3 * gh, g0 + 4 * gh)
    u1, k1 = _classic_step(u, kelvin, h, whole, (e0, e2, e4), row, wet)
    um, km = _classic_step(u, kelvin, h / 2, early, (e0, e1, e2), row, wet)
    u2, k2 = _classic_step(um, km, h / 2, late, (e2, e3, e4), row, wet)
    error = max(abs(u2 - u1), abs(k2 - k1) / 100.0) / 15.0
    return u2 + (u2 - u1) / 15.0, k2 + (k2 - k1) / 15.0, error


@njit(cache=True, error_model="numpy")
def _crossing(u, kelvin, drive, slope, h, row, fall):  # type: ignore[no-untyped-def] # compiled
    """Give the part of a step after which u has fallen to a level, and the temperature there.

    ``fall`` holds the level and the u at the end of the step, below it.
    """
    level, k = fall[0], kelvin
    low, high, after = 0.0, h, h * (u - level) / (u - fall[1])
    for _ in range(40):
        reached, k, _ = _step(u, kelvin, drive, slope, after, row, True)  # noqa: FBT003 - compiled
        if abs(reached - level) < _TOLERANCE / 10 or high - low < 1e-9 * h:
            break
        if reached > level:
            low = after
        else:
            high = after
        exchange = _exchange(drive[0] + slope[0] * after, drive[1] + slope[1] * after, row)
        steepness, _ = _rates(reached, k, drive[2] + slope[2] * after, exchange, row, True)  # noqa: FBT003 - compiled
        if steepness < 0.0:
            after += (level - reached) / steepness
        if steepness >= 0.0 or after <= low or after >= high:
            after = (low + high) / 2
    return after, k


@njit(cache=True, error_model="numpy")
def _run_all(time, speed, flow, gas, rows, end, course):  # type: ignore[no-untyped-def] # compiled
    """Integrate all draws; fill ``end`` (mass, T, dry time, hottest wet T) and the course."""
    for j in range(rows.shape[0]):
        row = rows[j]
        m0, power = row[0], 1 / (1 - row[6])
        dry_level = (min(row[7] / m0, 1.0)) ** (1 - row[6])
        u, kelvin, wet, guess = 1.0, row[4], True, np.inf
        hottest = kelvin
        dry_time = time[0, j % time.shape[1]] if row[7] >= m0 else np.inf
        for i in range(time.shape[0]):
            if i > 0:
                start = time[i - 1, j % time.shape[1]]
                u, kelvin, wet, guess, at = _run_span(
                    (u, kelvin, wet, guess),
                    time[i, j % time.shape[1]] - start,
                    (
                        speed[i - 1, j % speed.shape[1]],
                        flow[i - 1, j % flow.shape[1]],
                        gas[i - 1, j % gas.shape[1]],
                    ),
                    (
                        speed[i, j % speed.shape[1]],
                        flow[i, j % flow.shape[1]],
                        gas[i, j % gas.shape[1]],
                    ),
                    row,
                    dry_level if dry_time == np.inf else -1.0,
                )
                if wet:
                    hottest = max(hottest, kelvin)
                if at >= 0.0:
                    dry_time = start + at
            if course.shape[1] > 0:
                course[0, i, j] = m0 * u**power
                course[1, i, j] = kelvin
        end[j, 0], end[j, 1], end[j, 2], end[j, 3] = m0 * u**power, kelvin, dry_time, hottest


@njit(cache=True, error_model="numpy")
def _run_span(state, span, first, last, row, dry_level):  # type: ignore[no-untyped-def] # compiled
    """Integrate between two moments; also give when ``dry_level`` was reached, or -1."""
    u, kelvin, wet, guess = state
    t, at = 0.0, -1.0
    if span <= 0.0:
        return u, kelvin, wet, guess, at
    slope = ((last[0] - first[0]) / span, (last[1] - first[1]) / span, (last[2] - first[2]) / span)
    while t < span:
        h = min(guess, span - t)
        drive = (first[0] + slope[0] * t, first[1] + slope[1] * t, first[2] + slope[2] * t)
        u2, k2, error = _step(u, kelvin, drive, slope, h, row, wet)
        growth = 0.9 * (_TOLERANCE / max(error, 1e-30)) ** 0.2
        if error > _TOLERANCE:
            guess = h * max(growth, 0.1)
            continue
        if h < span - t or guess <= h:  # a step cut short by a moment says nothing of the next
            guess = h * min(max(growth, 0.2), 4.0)
        if wet and at < 0.0 <= dry_level and u2 <= dry_level:
            after, _ = _crossing(u, kelvin, drive, slope, h, row, (dry_level, u2))
            at = t + after
        if wet and u2 <= 0.0:
            h, k2 = _crossing(u, kelvin, drive, slope, h, row, (0.0, u2))
            u2, wet = 0.0, False
        u, kelvin = u2, k2
        t = span if h >= span - t else t + h
    return u, kelvin, wet, guess, at
