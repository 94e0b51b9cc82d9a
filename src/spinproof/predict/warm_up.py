"""Heat capacity and loss of the nitrogen heater from warm-ups at full power."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinproof.model.head_model import CalibrationRun, CannotSay, Fit, Residuals
from spinproof.physics.nitrogen import HEAT_CAPACITY
from spinproof.predict.least_squares import LEAST_RUNS, Array, pooled
from spinproof.stats.least_squares import Fitted, fitted

SUBJECT = "warm-up"
PARAMETERS = ("heater_heat_capacity_j_k", "heater_loss_w_k")
LEAST_READINGS, LEAST_RISE_K, LEAST_CONSTANTS = 10, 10.0, 0.3
"""Readings, rise [K] and length in time constants below which a warm-up says nothing. [1]"""


@dataclass(frozen=True, eq=False)
class WarmUp:
    """The nitrogen behind its heater, from switching on until the regulator takes power back."""

    run: CalibrationRun
    time_s: Array
    """Moments, rising, all at full power. [s]"""
    temperature_c: Array
    """Temperature of the nitrogen behind the heater. [degC]"""
    cold_c: float
    """Temperature of the same flow before the heater came on. [degC]"""
    gas_flow: float
    """Mean mass flow of nitrogen meanwhile. [kg/s]"""
    flow_error: float = 0.0
    """Relative standard uncertainty of the flow, which all runs share. [1]"""


@dataclass(frozen=True)
class Heater:
    """What the warm-ups say of the heater."""

    fit: Fit | None
    values: dict[str, float]
    cannot_say: tuple[CannotSay, ...]


def heater_of(warm_ups: Sequence[WarmUp], power_w: float) -> Heater:
    """Fit heat capacity and loss of the heater to warm-ups at full power.

    Parameters
    ----------
    warm_ups : sequence of WarmUp
        The warm-ups, three or more, each at a steady flow.
    power_w : float
        Power of the heater: it scales both results. [W]

    Returns
    -------
    Heater
        Heat capacity and loss with their covariance by the scatter between the runs.

    Notes
    -----
    Never raises on poor data: it says why it cannot say. The temperature alone gives the slope at
    first, P/C, and the rise at last, P/(m cp + UA); so power, heat capacity and loss together
    are only known up to one factor, and the power is taken from the specification.

    References
    ----------
    .. [1] Energy balance; any textbook of heat transfer.
    """
    good, refused = [], []
    for each in warm_ups:
        if (why := _unfit(each)) is not None:
            refused.append(f"run {each.run.run}: {why}")
            continue
        found = _first_order(each)
        length = float(each.time_s[-1] - each.time_s[0]) / float(np.exp(found.estimate[1]))
        if found.is_singular or length < LEAST_CONSTANTS:
            why = f"{length:.2f} time constants long: slope and final rise cannot be told apart"
            refused.append(f"run {each.run.run}: {why}")
        else:
            good.append((each, found))
    if len(good) < LEAST_RUNS:
        return Heater(None, {}, (_too_few(len(good), refused),))
    return _from_runs(good, power_w, refused)


def _from_runs(
    good: Sequence[tuple[WarmUp, Fitted]], power_w: float, refused: Sequence[str]
) -> Heater:
    slopes = np.exp([found.estimate[0] for _, found in good])
    constants = np.exp([found.estimate[1] for _, found in good])
    capacity = power_w / slopes
    loss = capacity / constants - HEAT_CAPACITY * np.array([each.gas_flow for each, _ in good])
    mean, covariance, degrees = pooled(np.column_stack([capacity, loss]))
    carried = max(HEAT_CAPACITY * each.gas_flow * each.flow_error for each, _ in good)
    covariance[1, 1] += carried**2
    left = np.concatenate([found.residuals for _, found in good])
    cautions = [f"left out: {each}" for each in refused]
    cautions.append("heat capacity and loss are scaled with the specified power of the heater")
    if abs(mean[1]) < 2 * np.sqrt(covariance[1, 1]):
        cautions.append("heater_loss_w_k cannot be told from zero")
    fit = Fit(
        subject=SUBJECT,
        parameters=PARAMETERS,
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        degrees=degrees,
        runs=tuple(each.run for each, _ in good),
        points=left.size,
        residual_rms=float(np.sqrt(np.mean(left**2))),
        residual_unit="K",
        across="time, s",
        residuals=tuple(_residuals(each, found) for each, found in good),
        cautions=tuple(cautions),
    )
    return Heater(fit, dict(zip(PARAMETERS, mean.tolist(), strict=True)), ())


def _first_order(warm_up: WarmUp) -> Fitted:
    """Fit the logarithms of slope when cold [K/s] and time constant [s], and the start [degC]."""
    time, seen = warm_up.time_s - warm_up.time_s[0], warm_up.temperature_c

    def left_over(p: Array) -> Array:
        constant = np.exp(p[1])
        final = warm_up.cold_c + np.exp(p[0]) * constant
        return np.asarray(seen - final - (p[2] - final) * np.exp(-time / constant))

    part = max(time.size // 4, 3)
    slope = max(float(np.polyfit(time[:part], seen[:part], 1)[0]), 1e-3)
    start = np.array([np.log(slope), np.log(time[-1]), seen[0]])
    return fitted(left_over, start, np.array([0.1, 0.1, 0.5]))


def _unfit(warm_up: WarmUp) -> str | None:
    if warm_up.time_s.size < LEAST_READINGS:
        return f"{warm_up.time_s.size} readings, {LEAST_READINGS} are needed"
    if warm_up.gas_flow <= 0:
        return "no nitrogen flowed"
    rise = float(warm_up.temperature_c[-1] - warm_up.temperature_c[0])
    if rise < LEAST_RISE_K:
        return f"the gas rose by {rise:.1f} K only"
    return None


def _too_few(good: int, refused: Sequence[str]) -> CannotSay:
    detail = f" ({'; '.join(refused)})" if refused else ""
    return CannotSay(
        subject="heater: heat capacity and loss",
        why=f"{good} usable warm-ups, {LEAST_RUNS} are needed to see the scatter{detail}",
        mend="Record runs whose heater starts cold, with flow and temperature on the trace.",
    )


def _residuals(warm_up: WarmUp, found: Fitted, points: int = 120) -> Residuals:
    every = max(warm_up.time_s.size // points, 1)
    return Residuals(
        run=warm_up.run.run,
        across=tuple(np.round((warm_up.time_s - warm_up.time_s[0])[::every], 2).tolist()),
        left_over=tuple(np.round(found.residuals[::every], 4).tolist()),
    )
