"""What a fast stream tells: of each step, and of the resonance that the coast passes."""

import numpy as np

from spinproof.judge.segments import StepRun
from spinproof.judge.verdicts import measured, missing
from spinproof.judge.vibration import Felt, felt_in, vibration_metrics
from spinproof.model.errors import OutOfRangeError
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Metric
from spinproof.model.trace import Trace
from spinproof.signals.resonance import fit_resonance

NAMES = ("resonance_speed", "resonance_damping")
SLOWEST_HZ = 0.7
"""Speed below which a second holds too little of a turn. [rev/s]"""
_RPM = 60 / (2 * np.pi)


def fast_metrics(trace: Trace, runs: tuple[StepRun, ...], head: HeadSpec) -> list[Metric]:
    """Give all metrics that a fast stream tells; none without one."""
    felt = felt_in(trace, head.bearing)
    return [*vibration_metrics(felt, runs, head), *mount_metrics(felt, runs)]


def mount_metrics(felt: Felt | None, runs: tuple[StepRun, ...]) -> list[Metric]:
    """Give speed and damping of the resonance that the coast passed.

    A ramp moves a peak a little: the change of speed within a window, and the error of the fit,
    stand in the uncertainty; what the ramp itself moves is the same in each run of a head.
    """
    if felt is None or not runs:
        return []
    windows = felt.windows
    begin = windows.start_s
    chosen = (begin >= runs[-1].end_s) & (windows.speed >= SLOWEST_HZ)
    chosen &= np.isfinite(windows.vector).all(axis=1)
    turning = 2 * np.pi * windows.speed[chosen]
    if not turning.size:
        return _untold("no second of the coast holds even pulses of the shaft")
    moved = -windows.vector[chosen] / turning[:, np.newaxis] ** 2
    axis = int(np.argmax(np.abs(moved).max(axis=0)))
    try:
        found = fit_resonance(turning, moved[:, axis])
    except OutOfRangeError as error:
        return _untold(error.what)
    within = float(np.abs(np.gradient(turning)).max()) / np.sqrt(12) if turning.size > 1 else 0.0
    spread = float(np.hypot(found.speed_uncertainty, within))
    note = f"{felt.channels[axis].name}, coast, {turning.size} s"
    return [
        measured(NAMES[0], _RPM * found.speed, _RPM * spread, note=note),
        measured(NAMES[1], found.damping, found.damping_uncertainty, note=note),
    ]


def _untold(why: str) -> list[Metric]:
    return [missing(name, why) for name in NAMES]
