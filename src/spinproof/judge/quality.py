"""How good the record is: gaps, missing readings, operator inputs, agreement of channels."""

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.segments import StepRun
from spinproof.judge.speed_metrics import hold_speed, no_evidence
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.judgement import Metric
from spinproof.model.registers import Status
from spinproof.model.run import IncidentKind
from spinproof.signals.crossings import change_times
from spinproof.signals.means import mean_of
from spinproof.signals.tach import mean_speed
from spinproof.signals.tach_repair import proven_pulses_per_rev

TOGETHER = 0.05
"""How far the ratio of two tachs may wander between holds if both see one rotor."""


def quality_metrics(runs: tuple[StepRun, ...], readings: Readings) -> list[Metric]:
    """Give the metrics of the record itself."""
    return [
        _largest_gap(readings),
        _missing_share(readings),
        _operator_inputs(readings),
        _tach_repairs(readings),
        _tach_agreement(runs, readings),
        _display_agreement(runs, readings),
    ]


def strangers(runs: tuple[StepRun, ...], readings: Readings) -> str | None:
    """Say why two tachs do not see the same rotor, or give None when nothing speaks against it."""
    own, optical = readings.own, readings.optical
    if own is None or optical is None or not (own.turned or optical.turned):
        return None
    if own.turned != optical.turned:
        silent, turning = (optical, own) if own.turned else (own, optical)
        return (
            f'"{silent.name}" saw no rotation while "{turning.name}" did: '
            "these channels do not come from the same head, or one of them is dead"
        )
    ratios = [a / b for a, b, _ in _pairs(runs, own, optical)]
    if len(ratios) > 1 and max(ratios) > min(ratios) * (1 + TOGETHER):
        return (
            f'"{own.name}" and "{optical.name}" do not follow one another '
            f"(ratio {min(ratios):.2f} to {max(ratios):.2f}): "
            "these channels do not come from the same head"
        )
    return None


def _largest_gap(readings: Readings) -> Metric:
    """Most samples missing in a row, by the recorder's notes and by the times themselves."""
    incidents = readings.trace.incidents
    seen = max((i.size for i in incidents if i.kind is IncidentKind.GAP), default=0.0)
    for signal in readings.trace.signals.values():
        if signal.time_s.size > 1:
            widest = float(np.diff(signal.time_s).max()) * signal.channel.sample_rate_hz
            seen = max(seen, round(widest) - 1.0)
    if not any(signal.time_s.size for signal in readings.trace.signals.values()):
        return missing("largest_gap", "the trace holds no sample")
    return measured("largest_gap", seen, 0.0)


def _missing_share(readings: Readings) -> Metric:
    worst, name = 0.0, ""
    for signal in readings.trace.signals.values():
        if signal.time_s.size == 0:
            return missing("missing_share", f'"{signal.channel.name}" holds no sample')
        share = 100 * float(np.mean(~np.isfinite(signal.values)))
        if share > worst:
            worst, name = share, signal.channel.name
    note = f'most in "{name}"' if worst else "no reading is missing"
    return measured("missing_share", worst, 0.0, note=note)


def _operator_inputs(readings: Readings) -> Metric:
    inputs = readings.inputs
    if inputs is None:
        return missing("operator_inputs", "no channel shows the stop button")
    pressed = inputs.state(Status.STOP_PRESSED)
    moments, _ = change_times(inputs.time_s, pressed, rising=True)
    count = moments.size + int(bool(pressed.size) and bool(pressed[0]))
    note = f"stop pressed at {moments[0]:.1f} s" if moments.size else None
    return measured("operator_inputs", count, 0.0, note=note)


def _tach_repairs(readings: Readings) -> Metric:
    """Count the pulses of all tachs that had to be put right, or could not be."""
    name, tachs = "tach_repairs", (readings.optical, readings.own)
    seen = [speed for speed in tachs if speed is not None and speed.repair is not None]
    if not seen:
        return missing(name, "no channel counts the pulses of a tach and gives their moments")
    count = sum(incident.size for incident in readings.repairs)
    note = "; ".join(i.text for i in readings.repairs) or "no pulse was lost or doubled"
    return measured(name, count, 0.0, note=note)


def _tach_agreement(runs: tuple[StepRun, ...], readings: Readings) -> Metric:
    """Relative difference of the head's tach from the reference, over all holds together."""
    name, own, reference = "tach_agreement", readings.own, readings.reference
    if own is None or reference is None or own is reference:
        return missing(name, "there is no second, independent speed to compare with")
    why = no_evidence(readings)
    if why is not None:
        return missing(name, why)
    pairs = _pairs(runs, own, reference)
    if not pairs:
        return missing(name, "there is no hold in which both speeds were seen")
    a, b, weight = (np.array(column) for column in zip(*pairs, strict=True))
    difference = float(np.average(a / b - 1, weights=weight))
    timing = _timing(own) + _timing(reference)
    spread = float(np.hypot(timing, np.hypot(own.relative, reference.relative)))
    note = _wrong_pulses(own, a, b)
    return measured(name, 100 * difference, 100 * spread, note=note)


def _wrong_pulses(own: Speed, speeds: NDArray[np.float64], true: NDArray[np.float64]) -> str | None:
    """Say how many pulses a revolution has when it is proven that the map is wrong."""
    if own.counted is None:
        return None
    claimed = own.counted.pulses_per_rev
    proven = proven_pulses_per_rev(claimed * speeds, true)
    if proven is None or proven == claimed:
        return None
    return (
        f'"{own.name}" gives {proven} pulses in a revolution, by the reference at '
        f"{true.size} speeds; the channel map says {claimed}: mend the map and judge again"
    )


def _display_agreement(runs: tuple[StepRun, ...], readings: Readings) -> Metric:
    """Median relative difference of the display from the reference in all holds."""
    name, display = "display_agreement", readings.series(Role.DISPLAY_SPEED)
    reference, why = readings.reference, no_evidence(readings)
    if display is None:
        return missing(name, "no channel shows the head's display")
    if reference is None or why is not None:
        return missing(name, why or "")
    inside = np.zeros(display.time_s.size, dtype=np.bool_)
    for run in runs:
        if run.hold is not None and run.step.speed_rpm > 0:
            inside |= (display.time_s >= run.hold[0]) & (display.time_s <= run.hold[1])
    if not inside.any():
        return missing(name, "there is no hold in which both speeds were seen")
    true = np.interp(display.time_s[inside], reference.time_s, reference.rpm)
    ratios = display.values[inside] / true - 1
    typical = float(np.median(true))
    shared = float(np.hypot(display.uncertainty(typical) / typical, reference.relative))
    spread = float(np.hypot(shared, mean_of(ratios).uncertainty))
    return measured(name, 100 * float(np.median(ratios)), 100 * spread)


def _pairs(
    runs: tuple[StepRun, ...], own: Speed, reference: Speed
) -> list[tuple[float, float, float]]:
    """Mean speeds of both tachs in each hold, and the hold's length."""
    pairs = []
    for run in runs:
        if run.hold is None or run.step.speed_rpm == 0:
            continue
        a, b = _mean_in(run, own), hold_speed(run, reference)[0]
        if np.isfinite(a) and np.isfinite(b) and b > 0:
            pairs.append((a, b, run.hold[1] - run.hold[0]))
    return pairs


def _mean_in(run: StepRun, speed: Speed) -> float:
    if run.hold is None:
        return float("nan")
    if speed.counted is not None:
        return mean_speed(speed.counted, *run.hold)[0]
    inside = (speed.time_s >= run.hold[0]) & (speed.time_s <= run.hold[1])
    return float(speed.rpm[inside].mean()) if inside.any() else float("nan")


def _timing(speed: Speed) -> float:
    """Relative uncertainty of a mean speed over one second, from the timing of edges."""
    rotation = speed.rotation
    return 0.0 if rotation is None else float(np.sqrt(2)) * rotation.edge_uncertainty_s
