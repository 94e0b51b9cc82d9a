"""Cut out of a sealed trace what calibration fits: coast-down, drain step, warm-up, exhaust."""

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.coast import coast_edges
from spinproof.judge.readings import Readings, Series
from spinproof.judge.segments import Stretch, stretches
from spinproof.model.channel import Role
from spinproof.model.head_model import CalibrationRun
from spinproof.model.load import Load
from spinproof.model.registers import STEP_STOPPING
from spinproof.model.trace import Signal, Trace
from spinproof.physics.drying import DryingHistory
from spinproof.physics.evaporation import saturation_humidity
from spinproof.physics.nitrogen import mass_flow_of
from spinproof.physics.rinse import conductivity_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.predict.coast_down import Coast
from spinproof.predict.drying_fit import Exhaust
from spinproof.predict.outcome import Task
from spinproof.predict.rinse_step import DrainStep
from spinproof.predict.warm_up import WarmUp

Array = NDArray[np.float64]
KELVIN = 273.15
EXHAUST = "exhaust dew point"
"""Name of the channel, in degC, that says how wet the gas leaves."""
SUBLIMATION_K = 2.834e6 / 461.5
"""Heat of sublimation of ice over the gas constant of vapour: Clausius and Clapeyron. [K]"""
SWITCHED_S = 1.0
"""What is left out after the heater's step begins, until contactor and sensor follow. [s]"""
COLD_READINGS = 8
"""Readings before a warm-up whose mean is its cold end. [1]"""
FULL_POWER_SHARE = 0.8
"""Share of the rise to the set-point in which the heater is taken to give full power."""


def coast_of(trace: Trace) -> Coast | None:
    """Give the undriven coast at the end of a run, or None when the trace has none.

    Parameters
    ----------
    trace : Trace
        A sealed run.

    Returns
    -------
    Coast or None
        Tach edges after the motor was switched off and above the positioner's speed.
    """
    readings = Readings(trace)
    speed, part = readings.reference, _stretch(readings, STEP_STOPPING)
    if speed is None or speed.rotation is None or part is None:
        return None
    moments, angle = coast_edges(readings, part, trace.header.head)
    return Coast(
        run=_run(trace),
        moment_s=moments,
        angle=angle,
        added_inertia=_added(trace, trace.header.load),
    )


def drain_step_of(trace: Trace) -> DrainStep | None:
    """Give the drain of the first rinse of a run, or None when the trace does not show it.

    Parameters
    ----------
    trace : Trace
        A sealed run.

    Returns
    -------
    DrainStep or None
        From the start of the trace to the end of the rinse.
    """
    readings = Readings(trace)
    drain, flow = readings.signal(Role.DRAIN_RESISTIVITY), readings.series(Role.DI_FLOW)
    number = next((i for i, s in enumerate(trace.header.recipe.steps, 1) if s.water), None)
    if drain is None or flow is None or number is None:
        return None
    part = _stretch(readings, number)
    if part is None:
        return None
    time, values = _fresh(drain)
    seen = (time <= part.end_s) & (values > 0)
    wet = flow.time_s <= part.end_s
    return DrainStep(
        run=_run(trace),
        time_s=time[seen],
        conductivity=np.asarray(conductivity_of(values[seen])),
        flow_time_s=flow.time_s[wet],
        flow_lpm=np.maximum(flow.values[wet], 0.0),
        flow_error=_relative(flow, trace.header.head.di_flow_lpm),
    )


def warm_up_of(trace: Trace) -> WarmUp | None:
    """Give the first warm-up of the nitrogen in a run, or None when the trace does not show it.

    Parameters
    ----------
    trace : Trace
        A sealed run.

    Returns
    -------
    WarmUp or None
        From switching on to most of the rise: after that the regulator takes power back.
    """
    readings = Readings(trace)
    warm, flow = readings.signal(Role.N2_TEMPERATURE), readings.series(Role.N2_FLOW)
    steps = trace.header.recipe.steps
    number = next((i for i, s in enumerate(steps, 1) if s.heater_c is not None), None)
    if warm is None or flow is None or number is None:
        return None
    part = _stretch(readings, number)
    setpoint = steps[number - 1].heater_c
    time, values = _fresh(warm)
    if part is None or setpoint is None or not (time <= part.start_s).any():
        return None
    cold = float(values[time <= part.start_s][-COLD_READINGS:].mean())
    inside = (time >= part.start_s + SWITCHED_S) & (time <= part.end_s)
    above = np.flatnonzero(values[inside] > cold + FULL_POWER_SHARE * (setpoint - cold))
    last = int(above[0]) if above.size else int(inside.sum())
    time, values = time[inside][:last], values[inside][:last]
    if time.size == 0:
        return None
    rate = flow.between(float(time[0]), float(time[-1]))
    mean = float(mass_flow_of(max(float(rate.mean()), 0.0))) if rate.size else 0.0
    return WarmUp(
        run=_run(trace),
        time_s=time,
        temperature_c=values,
        cold_c=cold,
        gas_flow=mean,
        flow_error=_relative(flow, trace.header.head.n2_flow_slm),
    )


def exhaust_of(trace: Trace) -> Exhaust | None:
    """Give the vapour that a run carried out, or None without a dew-point channel.

    Parameters
    ----------
    trace : Trace
        A sealed run.

    Returns
    -------
    Exhaust or None
        From the end of the last water to the end of the last step.
    """
    readings = Readings(trace)
    signal, speed = trace.signals.get(EXHAUST), readings.reference
    flow, warm = readings.series(Role.N2_FLOW), readings.series(Role.N2_TEMPERATURE)
    wet = [i for i, s in enumerate(trace.header.recipe.steps, 1) if s.water]
    if signal is None or speed is None or flow is None or warm is None or not wet:
        return None
    first = _stretch(readings, wet[-1])
    last = _stretch(readings, len(trace.header.recipe.steps))
    if first is None or last is None:
        return None
    time, dew = _fresh(signal)
    inside = (time >= first.end_s) & (time <= last.end_s) & np.isfinite(dew)
    time, dew = time[inside], dew[inside]
    if time.size < 2:
        return None
    gas = mass_flow_of(np.maximum(_at(flow, time), 0.0))
    rate = gas * _humidity(dew)
    parts = np.diff(time) * (rate[1:] + rate[:-1]) / 2
    history = DryingHistory(
        time,
        np.interp(time, speed.time_s, speed.rpm) * RAD_PER_S_PER_RPM,
        gas,
        KELVIN + np.clip(_at(warm, time), 1.0, 95.0),
    )
    return Exhaust(_run(trace), history, np.concatenate([[0.0], np.cumsum(parts)]))


def _humidity(dew_c: Array) -> Array:
    """Give the humidity ratio of gas by its dew point, or its frost point below 0 °C."""
    frozen = KELVIN + np.minimum(dew_c, 0.0)
    fall = np.exp(SUBLIMATION_K * (1 / KELVIN - 1 / frozen))
    return np.asarray(saturation_humidity(KELVIN + np.maximum(dew_c, 0.0)) * fall)


def _run(trace: Trace) -> CalibrationRun:
    header = trace.header
    return CalibrationRun(run=header.run, sha256=trace.sha256, simulated=header.simulated)


def _stretch(readings: Readings, number: int) -> Stretch | None:
    return next((part for part in stretches(readings) if part.number == number), None)


def _added(trace: Trace, load: Load) -> float:
    return Task(trace.header.recipe, trace.header.head, load).added_inertia


def _relative(series: Series, nominal: float) -> float:
    return series.uncertainty(nominal) / nominal


def _fresh(signal: Signal) -> tuple[Array, Array]:
    """Leave out repeated readings of a sensor that is slower than its channel, and missing ones."""
    values = signal.values
    known = np.isfinite(values)
    time, values = signal.time_s[known], values[known]
    new = np.concatenate([[True], np.diff(values) != 0]) if values.size else known[known]
    return time[new], values[new]


def _at(series: Series, time: Array) -> Array:
    return np.asarray(np.interp(time, series.time_s, series.values))
