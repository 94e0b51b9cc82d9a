"""Runs of the virtual head in front of a camera, and the log beside them."""

from functools import cache

import numpy as np
from tests.demo_files import LOWER, PARTIAL_LOAD, UPPER

from spinproof.film.course import LoggedRun
from spinproof.film.demo_film import FilmedRun
from spinproof.model.program import Program
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.virtualhead.head import VirtualHead


def _step(kind: StepKind, seconds: float, rpm: float, **more) -> Step:
    given = {"ramp_rpm_per_s": 50.0, "timer_basis": TimerBasis.FROM_COMMAND, **more}
    return Step(name=kind.value, kind=kind, duration_s=seconds, speed_rpm=rpm, **given)


RECIPE = Recipe(
    name="short film",
    steps=(
        _step(StepKind.RINSE, 16.0, 400.0, water=True),
        _step(StepKind.PURGE, 4.0, 400.0, nitrogen=True),
        _step(StepKind.DRY, 30.0, 1500.0, nitrogen=True, heater_c=80.0),
        _step(StepKind.DRY, 14.0, 1000.0, nitrogen=True, heater_c=80.0),
    ),
)


@cache
def course(number: int, *, upper: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Time and true speed of a run, 100 a second."""
    run = VirtualHead(UPPER if upper else LOWER).start(
        Program(run_number=number, seed=77, recipe=RECIPE, load=PARTIAL_LOAD)
    )
    time, speed = [], []
    while not run.is_over:
        time.append(run.now)
        speed.append(run.plant.rotor.speed)
        run.sample()
    return np.array(time), np.array(speed)


def filmed(number: int, *, upper: bool = False) -> FilmedRun:
    time, speed = course(number, upper=upper)
    wet = np.interp(time, [0, 8, 24, 50], [0, 1, 1, 0])
    marks = 2 if upper else 1
    return FilmedRun(time, speed, rhythm(number, time), wet, marks)


def rhythm(number: int, time: np.ndarray) -> tuple[float, ...]:
    """Sync marks at start and stop, and one between whose moment is drawn for each run."""
    drawn = np.random.default_rng([number, 5]).uniform(2.0, 8.0)
    return (1.0, 1.0 + round(float(drawn), 3), float(time[-1]) - 2.0)


def logged(number: int, *, upper: bool = False, sync: bool = True) -> LoggedRun:
    """Speed as the stand's tach logs it, 10 a second, and the sync marks."""
    time, speed = course(number, upper=upper)
    rng = np.random.default_rng([number, upper])
    noisy = speed[::10] * (1 + rng.normal(0, 2e-4, time[::10].size))
    marks = filmed(number, upper=upper).sync_s if sync else ()
    return LoggedRun(time[::10], noisy, marks, name=f"run {number}")
