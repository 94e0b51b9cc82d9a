"""What went through the bowl, and was felt at its bearings: water, nitrogen, vibration."""

import numpy as np

from spinproof.judge.readings import Readings, Series
from spinproof.judge.segments import StepRun
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Metric
from spinproof.model.registers import Status
from spinproof.signals.crossings import change_times, crossing_times
from spinproof.signals.means import mean_of

FLOW_BEGINS_S = 3.0
"""What is left out at the begin of a step before a flow is averaged, at most. [s]"""
END_S = 10.0
"""Length of the end of a heated step over which its temperature is averaged. [s]"""
DRAIN_END_S = 2.0
"""Length of the end of a rinse over which the drain's resistivity is averaged. [s]"""
CLOSED_SHARE = 0.05
"""Share of the flow below which the valve is taken to be closed."""


def process_metrics(runs: tuple[StepRun, ...], head: HeadSpec, readings: Readings) -> list[Metric]:
    """Give the metrics of water, nitrogen, heat and vibration of each step that ran."""
    metrics: list[Metric] = []
    heated = [run.number for run in runs if run.step.heater_c is not None]
    for run in runs:
        metrics.append(_in_hold("vibration", run, readings, Role.VIBRATION))
        metrics.append(_vibration_peak(run, readings))
        metrics.append(_in_hold("motor_current", run, readings, Role.MOTOR_CURRENT))
        if run.step.water:
            metrics += _water_metrics(run, readings)
        if run.step.nitrogen:
            metrics += _nitrogen_metrics(run, head, readings)
        if run.step.heater_c is not None:
            metrics += _heat_metrics(run, readings, is_last=run.number == heated[-1])
    return metrics


def _in_hold(name: str, run: StepRun, readings: Readings, role: Role) -> Metric:
    series = readings.series(role)
    if series is None:
        return missing(name, f"no channel measures the {role}", step=run.number)
    if run.hold is None:
        return missing(name, "the rotor was not seen to hold a speed", step=run.number)
    return _mean(name, series, *run.hold, step=run.number)


def _vibration_peak(run: StepRun, readings: Readings) -> Metric:
    name, series = "vibration_peak", readings.series(Role.VIBRATION)
    whole = None if series is None else series.between(run.start_s, run.end_s)
    if series is None or whole is None or whole.size == 0:
        return missing(name, "no channel measures the vibration", step=run.number)
    peak = float(whole.max())
    return measured(name, peak, series.uncertainty(peak), step=run.number)


def _mean(name: str, series: Series, start: float, end: float, *, step: int) -> Metric:
    values = series.between(start, end)
    if values.size < 2:
        why = f'"{series.channel.name}" sent no readings from {start:.1f} s to {end:.1f} s'
        return missing(name, why, step=step)
    mean = mean_of(values)
    spread = float(np.hypot(mean.uncertainty, series.uncertainty(mean.value)))
    return measured(name, mean.value, spread, step=step)


def _steady(run: StepRun) -> tuple[float, float]:
    """Give the part of a step in which a flow has come up."""
    length = run.end_s - run.start_s
    return run.start_s + min(FLOW_BEGINS_S, 0.4 * length), run.end_s - run.error_s / 2


def _water_metrics(run: StepRun, readings: Readings) -> list[Metric]:
    return [
        _flow(run, readings),
        _lowest("di_pressure_low", run, readings, Role.DI_PRESSURE),
        _lowest("feed_resistivity_low", run, readings, Role.FEED_RESISTIVITY),
        _rinse_close_time(run, readings),
        *_resistivity_metrics(run, readings),
    ]


def _flow(run: StepRun, readings: Readings) -> Metric:
    series = readings.series(Role.DI_FLOW)
    if series is None:
        return missing("di_flow", "no channel measures the flow of water", step=run.number)
    return _mean("di_flow", series, *_steady(run), step=run.number)


def _lowest(name: str, run: StepRun, readings: Readings, role: Role) -> Metric:
    """Lowest mean over a second in a step."""
    series = readings.series(role)
    if series is None:
        return missing(name, f"no channel measures the {role}", step=run.number)
    values = series.between(*_steady(run))
    length = max(round(series.channel.sample_rate_hz), 1)
    if values.size < length:
        return missing(name, f'"{series.channel.name}" sent no readings', step=run.number)
    total = np.concatenate([[0.0], np.cumsum(values)])
    lowest = float(np.min(total[length:] - total[:-length]) / length)
    noise = float(np.std(np.diff(values)) / np.sqrt(2 * length))
    spread = float(np.hypot(series.uncertainty(lowest), noise))
    return measured(name, lowest, spread, step=run.number)


def _rinse_close_time(run: StepRun, readings: Readings) -> Metric:
    name, flow, inputs = "rinse_close_time", readings.series(Role.DI_FLOW), readings.inputs
    if flow is None or inputs is None:
        return missing(
            name, "no channel shows the flow and the valve of the water", step=run.number
        )
    moments, errors = change_times(inputs.time_s, inputs.state(Status.DI_VALVE), rising=False)
    after = np.flatnonzero(moments >= run.start_s)
    if after.size == 0:
        return missing(name, "the water valve was never told to close", step=run.number)
    told, error = float(moments[after[0]]), float(errors[after[0]])
    level = CLOSED_SHARE * float(np.median(flow.between(run.start_s, told)))
    later = flow.time_s >= told - 1
    closed = crossing_times(flow.time_s[later], flow.values[later], level, rising=False)
    closed = closed[closed >= told]
    if closed.size == 0:
        return missing(name, "the water never stopped flowing", step=run.number)
    spacing = 1 / flow.channel.sample_rate_hz
    spread = float(np.hypot(error, spacing) / np.sqrt(12))
    return measured(name, float(closed[-1]) - told, spread, step=run.number)


def _resistivity_metrics(run: StepRun, readings: Readings) -> list[Metric]:
    drain, target = readings.series(Role.DRAIN_RESISTIVITY), run.step.end_resistivity_mohm_cm
    if drain is None:
        end = missing("end_resistivity", "no channel measures the drain", step=run.number)
    else:
        until = run.end_s - run.error_s / 2
        end = _mean("end_resistivity", drain, until - DRAIN_END_S, until, step=run.number)
    if target is None:
        return [end]
    if end.value is None or end.uncertainty is None:
        return [end, missing("resistivity_shortfall", end.note or "", step=run.number)]
    note = f"{end.value:.2f} MΩ·cm of {target:g} MΩ·cm"
    shortfall = measured(
        "resistivity_shortfall", target - end.value, end.uncertainty, step=run.number, note=note
    )
    return [end, shortfall]


def _nitrogen_metrics(run: StepRun, head: HeadSpec, readings: Readings) -> list[Metric]:
    series = readings.series(Role.N2_FLOW)
    if series is None:
        why = "no channel measures the flow of nitrogen"
        return [missing(name, why, step=run.number) for name in ("n2_flow_error", "n2_flow")]
    flow = _mean("n2_flow", series, *_steady(run), step=run.number)
    return [flow, _relative(flow, head.n2_flow_slm)]


def _relative(flow: Metric, nominal: float) -> Metric:
    if flow.value is None or flow.uncertainty is None:
        return missing("n2_flow_error", flow.note or "", step=flow.step)
    share = 100 / nominal
    return measured(
        "n2_flow_error",
        share * (flow.value - nominal),
        share * flow.uncertainty,
        step=flow.step,
        note=f"{flow.value:.1f} slm of {nominal:g} slm",
    )


def _heat_metrics(run: StepRun, readings: Readings, *, is_last: bool) -> list[Metric]:
    series, setpoint = readings.series(Role.N2_TEMPERATURE), run.step.heater_c
    if series is None:
        why = "no channel measures the nitrogen's temperature"
        names = ("n2_temperature", "n2_temperature_error") if is_last else ("n2_temperature",)
        return [missing(name, why, step=run.number) for name in names]
    until = run.end_s - run.error_s / 2
    end = _mean("n2_temperature", series, until - END_S, until, step=run.number)
    if not is_last or setpoint is None:
        return [end]
    if end.value is None or end.uncertainty is None:
        return [end, missing("n2_temperature_error", end.note or "", step=run.number)]
    note = f"{end.value:.1f} °C of {setpoint:g} °C at the step's end"
    error = measured(
        "n2_temperature_error", end.value - setpoint, end.uncertainty, step=run.number, note=note
    )
    return [end, error]
