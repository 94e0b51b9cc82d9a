"""How the speed followed the recipe: per step, and as the thinning dose of the whole run."""

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.segments import StepRun
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.recipe import Recipe, TimerBasis
from spinproof.physics.film import thinning_dose
from spinproof.signals.means import mean_of
from spinproof.signals.steps import overshoot, ramp_rate, time_in_band
from spinproof.signals.tach import mean_speed

RAD_PER_S_PER_RPM = np.pi / 30
HOLD_NAMES = ("speed_error", "hold_speed", "ripple", "time_at_speed_shortfall", "time_at_speed")
RAMP_NAMES = ("ramp_error", "ramp_rate", "overshoot", "settling_time")


def speed_metrics(runs: tuple[StepRun, ...], readings: Readings) -> list[Metric]:
    """Give the speed metrics of each step that ran."""
    speed, why = readings.reference, no_evidence(readings)
    metrics: list[Metric] = []
    for run in runs:
        if speed is None or why is not None:
            names = HOLD_NAMES + (RAMP_NAMES if run.has_ramp else ())
            metrics += [missing(name, why or "", step=run.number) for name in names]
            continue
        metrics += _time_at_speed(run, speed)
        metrics += _hold_metrics(run, speed)
        if run.has_ramp:
            metrics += _ramp_metrics(run, speed)
    return metrics


def no_evidence(readings: Readings) -> str | None:
    """Say why there is no evidence for the rotor's speed, or give None when there is."""
    reference, own = readings.reference, readings.own
    if reference is None:
        if readings.signal(Role.DISPLAY_SPEED) is not None:
            return "the head's own display is never the sole evidence for speed"
        return "no channel measures the rotor's speed"
    if not reference.turned:
        if own is not None and own.turned:
            return (
                f'"{reference.name}" saw no rotation while "{own.name}" did: '
                "they do not come from the same head"
            )
        return f'"{reference.name}" saw no rotation'
    return None


def hold_speed(run: StepRun, speed: Speed) -> tuple[float, float]:
    """Mean speed of a step's hold, and its standard uncertainty, in rpm; NaN without a hold."""
    if run.hold is None:
        return float("nan"), float("nan")
    start, end = run.hold
    inside = (speed.time_s >= start) & (speed.time_s <= end)
    mean = mean_of(speed.rpm[inside])
    value, timing = mean.value, 0.0
    if speed.rotation is not None:
        value, timing = mean_speed(speed.rotation, start, end)
    elif inside.any():
        timing = float(speed.uncertainty_rpm[inside].mean())
    shared = speed.relative * value
    return value, float(np.sqrt(mean.uncertainty**2 + timing**2 + shared**2))


def dose_metrics(runs: tuple[StepRun, ...], recipe: Recipe, readings: Readings) -> list[Metric]:
    """Compare the thinning dose that was delivered with that of the recipe as programmed."""
    speed, why = readings.reference, no_evidence(readings)
    if why is None and not runs:
        why = "no step ran"
    if speed is None or why is not None:
        return [missing(name, why or "") for name in ("dose_error", "dose")]
    time, rpm = speed.window(runs[0].start_s, runs[-1].end_s)
    dose = thinning_dose(time, rpm * RAD_PER_S_PER_RPM)
    programmed = programmed_dose(recipe)
    spread = _spread_of_dose(dose, runs, speed)
    note = f"{dose:.4g} of {programmed:.4g} rad²/s"
    error = 100 * (dose / programmed - 1) if programmed > 0 else float("nan")
    share = 100 * spread / programmed if programmed > 0 else float("nan")
    return [
        measured("dose", dose, spread),
        measured("dose_error", error, share, note=note),
    ]


def programmed_dose(recipe: Recipe) -> float:
    """Thinning dose of a recipe that is followed exactly, ramps included, in rad²/s."""
    time, rpm = [0.0], [0.0]
    for step in recipe.steps:
        ramp = abs(step.speed_rpm - rpm[-1]) / step.ramp_rpm_per_s
        on_top = step.timer_basis is TimerBasis.FROM_AT_SPEED
        whole = step.duration_s + (ramp if on_top else 0.0)
        reached = min(ramp, whole)
        share = reached / ramp if ramp > 0 else 1.0
        level = rpm[-1] + share * (step.speed_rpm - rpm[-1])
        begin = time[-1]
        time += [begin + reached, begin + whole]
        rpm += [level, level]
    return thinning_dose(time, np.array(rpm) * RAD_PER_S_PER_RPM)


def _spread_of_dose(dose: float, runs: tuple[StepRun, ...], speed: Speed) -> float:
    """Give the standard uncertainty: twice the speed's, and that of the last step's end."""
    last = runs[-1].step.speed_rpm * RAD_PER_S_PER_RPM
    edge = last**2 * runs[-1].error_s / 2 / np.sqrt(12)
    return float(np.hypot(2 * dose * speed.relative, edge))


def _time_at_speed(run: StepRun, speed: Speed) -> list[Metric]:
    low, high = run.step.speed_rpm - run.band_rpm, run.step.speed_rpm + run.band_rpm
    inside = time_in_band(*speed.window(run.start_s, run.end_s), low, high)
    uncertainty = float(np.hypot(run.error_s / 2 / np.sqrt(6), run.entry_s))
    shortfall = run.demanded_hold_s - inside
    note = f"{inside:.1f} s in the band of {run.demanded_hold_s:.1f} s"
    return [
        measured("time_at_speed", inside, uncertainty, step=run.number),
        measured("time_at_speed_shortfall", shortfall, uncertainty, step=run.number, note=note),
    ]


def _hold_metrics(run: StepRun, speed: Speed) -> list[Metric]:
    setpoint = run.step.speed_rpm
    if setpoint == 0:
        return []
    if run.hold is None:
        why = "the step was too short to hold its speed, or its speed was not seen"
        return [missing(name, why, step=run.number) for name in HOLD_NAMES[:3]]
    value, uncertainty = hold_speed(run, speed)
    inside = (speed.time_s >= run.hold[0]) & (speed.time_s <= run.hold[1])
    mean = mean_of(speed.rpm[inside])
    share = 100 / setpoint
    ripple = share * mean.scatter
    sampling = ripple / np.sqrt(2 * max(mean.effective - 1, 1))
    noise = share * float(np.median(speed.uncertainty_rpm[inside]))
    false = ripple - float(np.sqrt(max(ripple**2 - noise**2, 0.0)))  # ripple that is no ripple
    note = f"{value:.1f} rpm at {setpoint:g} rpm"
    return [
        measured("hold_speed", value, uncertainty, step=run.number),
        measured(
            "speed_error",
            share * (value - setpoint),
            share * uncertainty,
            step=run.number,
            note=note,
        ),
        measured(
            "ripple",
            ripple,
            float(np.sqrt(sampling**2 + false**2 + (speed.relative * ripple) ** 2)),
            step=run.number,
        ),
    ]


def _ramp_metrics(run: StepRun, speed: Speed) -> list[Metric]:
    step, number = run.step, run.number
    time, rpm = speed.window(run.start_s, run.end_s - run.error_s / 2)
    rate, scatter = ramp_rate(time, rpm, run.from_rpm, step.speed_rpm)
    share = 100 / step.ramp_rpm_per_s
    clock = 1 if speed.rotation is None else 2  # a tach's clock paces the speed and its change
    spread = float(np.hypot(scatter, clock * speed.relative * abs(rate)))
    note = f"{abs(rate):.2f} rpm/s of {step.ramp_rpm_per_s:g} rpm/s"
    if not np.isfinite(rate):
        note = f"the speed never ran from {run.from_rpm:g} to {step.speed_rpm:g} rpm"
    metrics = [
        measured("ramp_rate", rate, spread, step=number, note=None if np.isfinite(rate) else note),
        measured("ramp_error", share * abs(rate) - 100, share * spread, step=number, note=note),
    ]
    if step.speed_rpm > 0:
        metrics.append(_overshoot(run, speed, time, rpm))
    return [*metrics, _settling(run)]


def _overshoot(
    run: StepRun, speed: Speed, time: NDArray[np.float64], rpm: NDArray[np.float64]
) -> Metric:
    setpoint = run.step.speed_rpm
    begin = run.start_s + run.ramp_s if run.at_speed_s is None else run.at_speed_s
    beyond = overshoot(rpm[time >= begin], run.from_rpm, setpoint)
    inside = (speed.time_s >= begin) & (speed.time_s <= run.end_s)
    each = float(np.median(speed.uncertainty_rpm[inside])) if inside.any() else 0.0
    readings = max(int(np.count_nonzero(inside)), 2)
    highest = each * float(np.sqrt(2 * np.log(readings) / 3))  # the top of so many is too high
    uncertainty = float(np.sqrt(each**2 + highest**2 + (speed.relative * setpoint) ** 2))
    share = 100 / setpoint
    return measured(
        "overshoot",
        share * beyond,
        share * uncertainty,
        step=run.number,
        note=f"{beyond:.1f} rpm beyond {setpoint:g} rpm, "
        f"{100 * beyond / abs(setpoint - run.from_rpm):.1f} % of the step",
    )


def _settling(run: StepRun) -> Metric:
    if run.settled_s is None:
        why = f"the step ended before the speed stayed within {run.band_rpm:g} rpm"
        return missing("settling_time", why, step=run.number, verdict=Verdict.FAIL)
    late = max(run.settled_s - (run.start_s + run.ramp_s), 0.0)
    uncertainty = float(np.hypot(run.error_s / 2 / np.sqrt(12), run.entry_s))
    return measured("settling_time", late, uncertainty, step=run.number)
