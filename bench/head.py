"""Speed of the virtual head, and what its step costs in accuracy. Run as a module.

The step's error is the difference from the same rotor and drive at a quarter of the step, as part
of the peak, over six minutes of a recipe. The drive reads the speed once a step, so this error
falls with the step; with the drive's scan kept, what is left is that of the rotor, whose step is
of the fourth order, and of the severity between samples.
"""

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.program import Program
from spinproof.virtualhead.faults import disturbances
from spinproof.virtualhead.head import STEPS_PER_SAMPLE, VirtualHead, simulate
from spinproof.virtualhead.rotor_drive import Drive, Rotor, loaded_inertia
from spinproof.virtualhead.sensors import ROTOR_UNBALANCE_G_MM, Vibration
from spinproof.virtualhead.vibration import accelerations, vibration_spec

Floats = NDArray[np.float64]
SAMPLE_S = 0.05
RATE_HZ = 10_000.0
RECIPE_S = 360.0
SOUND = disturbances(())


def main() -> None:
    """Print the figures."""
    program = Program(run_number=1, seed=7, recipe=CR_1, load=PARTIAL_LOAD)
    samples = sum(1 for _ in simulate(VirtualHead(LOWER), program))
    spent = cpu_of(lambda: sum(1 for _ in simulate(VirtualHead(LOWER), program)))
    print(f"one head, {samples * SAMPLE_S:.0f} s: {samples * SAMPLE_S / spent:,.0f} x real time")
    moments, speed = np.arange(0.0, RECIPE_S, SAMPLE_S), trace_of(STEPS_PER_SAMPLE)[:, 0]
    spec = vibration_spec(LOWER, ROTOR_UNBALANCE_G_MM, SOUND)
    next(accelerations(moments, speed, spec, RATE_HZ, 1))
    spent = cpu_of(lambda: sum(map(len, accelerations(moments, speed, spec, RATE_HZ, 1))))
    print(f"three axes and the shaft at 10 kHz: {RECIPE_S / spent:,.0f} x real time")
    before = None
    for steps in (STEPS_PER_SAMPLE, 2 * STEPS_PER_SAMPLE, 4 * STEPS_PER_SAMPLE):
        coarse, fine = trace_of(steps), trace_of(4 * steps)
        error = np.abs(coarse - fine).max(axis=0) / fine.max(axis=0)
        falls = "" if before is None else "; halving divided them by {:.2f} and {:.2f}"
        print(
            f"step {1e3 * SAMPLE_S / steps:g} ms: error of the speed {error[0]:.1e} of its peak, "
            f"of the vibration {error[1]:.1e}"
            + falls.format(*([] if before is None else before / error))
        )
        before = error
    kept = trace_of(4 * STEPS_PER_SAMPLE, STEPS_PER_SAMPLE)
    error = np.abs(trace_of(STEPS_PER_SAMPLE) - kept).max(axis=0) / kept.max(axis=0)
    print(f"the drive's 10 ms kept, all else at a quarter: {error[0]:.1e} and {error[1]:.1e}")
    errors = [abs(coast(step) - coast(step / 4)) for step in (2.0, 1.0, 0.5)]
    print(f"rotor alone: halving the step divides the error by {errors[0] / errors[1]:.1f}", end="")
    print(f", then by {errors[1] / errors[2]:.1f} (fourth order: 16)")


def cpu_of(work: Callable[[], object]) -> float:
    """Give the smallest CPU time of three goes. [s]."""
    spent = []
    for _ in range(3):
        begun = time.process_time()
        work()
        spent.append(time.process_time() - begun)
    return min(spent)


def rotor() -> Rotor:
    """Give the loaded rotor as specified."""
    inertia = loaded_inertia(LOWER, PARTIAL_LOAD)
    drag = (LOWER.coulomb_torque_n_m, LOWER.viscous_drag_n_m_s, LOWER.quadratic_drag_n_m_s2)
    return Rotor(inertia, *drag)


def trace_of(steps: int, scans: int | None = None) -> Floats:
    """Drive the recipe's speeds in so many steps, and scans of the drive, a sample."""
    every = steps // (scans or steps)
    turning, drive, shaking = rotor(), Drive(LOWER, 1.0, 0.0), Vibration(LOWER, 400.0)
    begins = np.cumsum([0.0, *(each.duration_s for each in CR_1.steps)])
    due = dict(zip(np.rint(begins[:-1] / SAMPLE_S).astype(int), CR_1.steps, strict=True))
    rows, step = np.empty((round(RECIPE_S / SAMPLE_S), 2)), SAMPLE_S / steps
    for sample in range(len(rows)):
        if sample in due:
            drive.command(due[sample].speed_rpm, due[sample].ramp_rpm_per_s)
        for number in range(steps):
            if number % every == 0:
                drive.advance(every * step, turning.speed)
            turning.advance(step, drive.torque)
            if (number + 1) % STEPS_PER_SAMPLE == 0:
                shaking.advance(STEPS_PER_SAMPLE * step, turning.speed)
        rows[sample] = turning.speed, shaking.shown_mm_s
    return rows


def coast(step: float) -> float:
    """Give the speed after 32 s of coasting from 200 rad/s. [rad/s]."""
    turning = rotor()
    turning.speed = 200.0
    for _ in range(round(32.0 / step)):
        turning.advance(step, 0.0)
    return turning.speed


if __name__ == "__main__":
    main()
