"""What slows the rotor in its undriven coast: drag over inertia, term by term."""

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings
from spinproof.judge.segments import Stretch
from spinproof.judge.verdicts import UNITS, measured, missing
from spinproof.judge.words import number
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Metric
from spinproof.model.registers import STEP_STOPPING, Status
from spinproof.signals.coast_down import drag_terms, unfit

ABOVE_POSITIONER = 1.2
"""A coast-down is used down to this many times the speed at which the positioner may come out."""
NAMES = ("drag_coulomb", "drag_viscous", "drag_windage")
CLOCK_POWERS = (2, 1, 0)
"""How often a term holds the tach's clock: in rad/s², 1/s and 1/rad."""

Array = NDArray[np.float64]


def drag_metrics(parts: tuple[Stretch, ...], readings: Readings, head: HeadSpec) -> list[Metric]:
    """Give the drag terms over inertia of a run's coast."""
    part = next((part for part in parts if part.number == STEP_STOPPING), None)
    speed = readings.reference
    if part is None or speed is None or speed.rotation is None or not speed.turned:
        return [missing(name, "no undriven coast was seen by a tach") for name in NAMES]
    moment, angle = coast_edges(readings, part, head)
    why = unfit(moment, angle)
    found = None if why is not None else drag_terms(moment, angle)
    if found is None:
        why = f"the coast separates no drag terms: {why or 'they cannot be told apart'}"
        return [missing(name, why) for name in NAMES]
    metrics = []
    for i, name in enumerate(NAMES):
        value = float(found.terms[i])
        shared = CLOCK_POWERS[i] * speed.relative * value
        spread = float(np.hypot(found.uncertainty[i], shared))
        upper, lower = (number(float(half), UNITS[name]) for half in found.halves[:, i])
        note = None
        if np.isfinite(found.halves[:, i]).all():
            note = f"upper half of the speeds {upper}, lower half {lower}"
        metrics.append(measured(name, value, spread, note=note))
    return metrics


def coast_edges(readings: Readings, part: Stretch, head: HeadSpec) -> tuple[Array, Array]:
    """Give the tach's edges after the motor was switched off and above the positioner's speed.

    Parameters
    ----------
    readings : Readings
        A run whose reference is a tach.
    part : Stretch
        Where the controller stops the rotor.
    head : HeadSpec
        The head.

    Returns
    -------
    tuple of ndarray
        Moments, and the angle turned at each. [s], [rad]
    """
    speed = readings.reference
    if speed is None or speed.rotation is None:
        return np.empty(0), np.empty(0)
    rotation, begin = speed.rotation, _undriven_from(readings, part)
    lowest = ABOVE_POSITIONER * head.index_enable_rpm
    slow = speed.time_s[(speed.time_s > begin) & (speed.rpm < lowest)]
    end = float(slow[0]) if slow.size else part.end_s
    inside = (rotation.edge_s > begin) & (rotation.edge_s < end)
    moments, pulses = rotation.edge_s[inside], rotation.pulses[inside]
    new = np.concatenate([[True], np.diff(pulses) > 0]) if pulses.size else inside[inside]
    per_pulse = 2 * np.pi / rotation.pulses_per_rev
    return moments[new], per_pulse * pulses[new].astype(np.float64)


def _undriven_from(readings: Readings, part: Stretch) -> float:
    """Give the moment from which the motor is off for sure."""
    begin = part.start_s + readings.period_s
    if readings.inputs is None:
        return begin
    time, driven = readings.inputs.time_s, readings.inputs.state(Status.MOTOR_ENABLED)
    later = time[(time >= part.start_s) & driven]
    return max(begin, float(later[-1]) + readings.period_s) if later.size else begin
