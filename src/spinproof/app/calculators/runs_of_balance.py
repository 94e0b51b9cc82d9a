"""Readings of a balancing job as typed: which run, at which speed, with which trial mass."""

import cmath
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.app.calculators.calculator import Field, Inputs, cannot_say, choice, quantity, rows
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.trial_mass import trial_unbalance

Complex = NDArray[np.complex128]

FOUND, LAST, CHECK = "as found", "as found, again", "after correction"
TRIALS = ("trial in plane 1", "trial in plane 2")
RUNS = (FOUND, *TRIALS, LAST, CHECK)
OFF, STAYS = "taken off", "stays on"
ONE_SPEED = 0.01
"""Relative difference up to which speeds of two runs are one speed; more would spoil the answer."""


@dataclass(frozen=True)
class Trial:
    """A trial mass in a plane."""

    plane: int
    """Counted from 1."""
    radius: float
    """Where it sat. [m]"""
    unbalance: complex
    """Mass times radius, at its angle. [kg m]"""
    stays: bool


@dataclass(frozen=True)
class Runs:
    """The readings of a job, one row for each speed and sensor."""

    speeds: tuple[float, ...]
    """Speed of each row. [rad/s]"""
    found: Complex
    trials: tuple[tuple[Trial, Complex], ...]
    """Trials in the order of their planes, each with its readings."""
    again: Complex | None
    """The first run repeated at the end."""
    check: Complex | None
    """The run with the corrections fitted."""


FIELDS: tuple[Field, ...] = (
    rows(
        "readings",
        "Readings",
        (
            choice("run", "Run", RUNS, explicit=True),
            quantity("speed", "Speed", Dimension.ROTATION, ""),
            quantity("amplitude_1", "Sensor 1", Dimension.VELOCITY, ""),
            quantity("phase_1", "Phase 1", Dimension.ANGLE, ""),
            quantity("amplitude_2", "Sensor 2", Dimension.VELOCITY, "", required=False),
            quantity("phase_2", "Phase 2", Dimension.ANGLE, "", required=False),
        ),
        (
            (FOUND, "900 rpm", "1.670 mm/s", "184.9 deg", "1.661 mm/s", "254.3 deg"),
            (TRIALS[0], "900 rpm", "0.956 mm/s", "145.6 deg", "1.305 mm/s", "259.8 deg"),
            (TRIALS[1], "900 rpm", "1.546 mm/s", "170.1 deg", "1.181 mm/s", "300.8 deg"),
        ),
        "One row for each run and speed. Every run needs the same speeds; phases and the angles of "
        "masses are counted the same way, from the same mark.",
    ),
    rows(
        "trials",
        "Trial masses",
        (
            choice("plane", "Plane", ("1", "2"), explicit=True),
            quantity("mass", "Mass", Dimension.MASS, ""),
            quantity("radius", "Radius", Dimension.LENGTH, ""),
            quantity("angle", "Angle", Dimension.ANGLE, ""),
            choice("then", "Afterwards", (OFF, STAYS), explicit=True),
        ),
        (("1", "5.000 g", "120 mm", "0 deg", OFF), ("2", "5.000 g", "120 mm", "0 deg", OFF)),
        "Whether a trial mass was taken off or stays on changes the answer: say it for each.",
        required=False,
    ),
)
"""Fields that `read_runs` reads."""


def read_runs(inputs: Inputs) -> Runs:
    """Put the readings of a job in order.

    Parameters
    ----------
    inputs : Inputs
        The fields of `FIELDS`.

    Returns
    -------
    Runs
        Readings as complex numbers, amplitude at phase.

    Raises
    ------
    OutOfRangeError
        If a run, a speed or a trial mass is missing.
    """
    tables = _tables(inputs)
    if FOUND not in tables:
        cannot_say("there is no run as found", f'Give readings of the run "{FOUND}".', "readings")
    speeds = sorted(tables[FOUND])
    sensors = {len(cells) for table in tables.values() for cells in table.values()}
    if len(sensors) > 1:
        cannot_say(
            "some rows have one sensor and others two",
            "Give both sensors in every row, or only the first.",
            "readings",
        )
    trials = _trials(inputs)
    if not trials:
        cannot_say(
            "there are no trial masses, so nothing tells what a mass does at this rotor",
            "Run once with a known mass in each plane, and give mass, radius and angle."
            + _advice(inputs, speeds),
            "trials",
        )
    for run in tables:
        if run in TRIALS and TRIALS.index(run) + 1 not in {trial.plane for trial in trials}:
            cannot_say(f"the {run} has no trial mass", "Give its mass, radius, angle.", "trials")
    return Runs(
        speeds=tuple(speed for speed in speeds for _ in range(next(iter(sensors)))),
        found=_column(tables, FOUND, speeds),
        trials=tuple((t, _column(tables, TRIALS[t.plane - 1], speeds)) for t in trials),
        again=_column(tables, LAST, speeds) if LAST in tables else None,
        check=_column(tables, CHECK, speeds) if CHECK in tables else None,
    )


def _advice(inputs: Inputs, speeds: list[float]) -> str:
    """Give a trial mass to begin with, when mass, grade and service speed are known."""
    mass, grade, service = (inputs.maybe(name) for name in ("mass", "grade", "service"))
    if mass is None or grade is None or service is None or speeds[-1] > service:
        return ""
    fair = trial_unbalance(mass, speeds[-1], service, 1e3 * grade)
    return f" A trial of {fair / UNITS['g.mm'].factor:.4g} g·mm shows itself and harms nothing."


def _tables(inputs: Inputs) -> dict[str, dict[float, tuple[complex, ...]]]:
    """Give the readings of each run by speed; speeds that are nearly the same become one."""
    tables: dict[str, dict[float, tuple[complex, ...]]] = {}
    known: list[float] = []
    for row in inputs.rows("readings"):
        speed = row.number("speed")
        near = next((each for each in known if abs(each - speed) <= ONE_SPEED * each), None)
        if near is None:
            known.append(speed)
            near = speed
        cells = tuple(_cells(row))
        table = tables.setdefault(row.choice("run"), {})
        if near in table:
            cannot_say(
                f'the run "{row.choice("run")}" has two rows at one speed',
                "Give one row for each run and speed.",
                "readings",
            )
        table[near] = cells
    return tables


def _cells(row: Inputs) -> list[complex]:
    cells = [cmath.rect(row.number("amplitude_1"), row.number("phase_1"))]
    amplitude, phase = row.maybe("amplitude_2"), row.maybe("phase_2")
    if (amplitude is None) is not (phase is None):
        cannot_say(
            "a reading of sensor 2 lacks its amplitude or its phase", "Give both.", "readings"
        )
    if amplitude is not None and phase is not None:
        cells.append(cmath.rect(amplitude, phase))
    return cells


def _trials(inputs: Inputs) -> list[Trial]:
    trials = [
        Trial(
            int(row.choice("plane")),
            row.number("radius"),
            cmath.rect(row.number("mass") * row.number("radius"), row.number("angle")),
            row.choice("then") == STAYS,
        )
        for row in inputs.rows("trials")
    ]
    trials.sort(key=lambda trial: trial.plane)
    if [trial.plane for trial in trials] not in ([], [1], [1, 2]):
        cannot_say(
            "the trial masses do not belong to plane 1, or to planes 1 and 2",
            "Give one trial mass for each plane.",
            "trials",
        )
    return trials


def _column(
    tables: dict[str, dict[float, tuple[complex, ...]]], run: str, speeds: list[float]
) -> Complex:
    found = tables.get(run, {})
    missing = [speed for speed in speeds if speed not in found]
    if missing:
        rpm = missing[0] * 30 / math.pi
        cannot_say(
            f'the run "{run}" has no reading at {rpm:.0f} rpm',
            "Give every run the speeds of the run as found.",
            "readings",
        )
    return np.array([cell for speed in speeds for cell in found[speed]], dtype=np.complex128)
