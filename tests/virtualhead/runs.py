"""Programs for the virtual head, and its records as columns."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from tests.demo_files import LOWER, PARTIAL_LOAD

from spinproof.model.load import Load
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.model.registers import SAMPLE_RATE_HZ, Field, Status
from spinproof.virtualhead.head import VirtualHead, simulate

NO_WAFERS = Load(name="no wafers")
SIGNED = {Field.SEAL_PRESSURE, Field.MOTOR_CURRENT, Field.N2_TEMPERATURE}
WIDE = {Field.TACH_EDGE_US, Field.OPTICAL_EDGE_US}
SCALE = {
    Field.SEAL_PRESSURE: 0.1,
    Field.VIBRATION: 0.01,
    Field.MOTOR_CURRENT: 0.01,
    Field.DI_FLOW: 0.01,
    Field.DI_PRESSURE: 0.01,
    Field.DRAIN_RESISTIVITY: 0.01,
    Field.FEED_RESISTIVITY: 0.01,
    Field.N2_FLOW: 0.1,
    Field.N2_TEMPERATURE: 0.1,
}


def step(kind: StepKind, seconds: float, rpm: float, **more) -> Step:
    given = {"ramp_rpm_per_s": 50.0, "timer_basis": TimerBasis.FROM_COMMAND, **more}
    return Step(name=kind.value, kind=kind, duration_s=seconds, speed_rpm=rpm, **given)


SHORT = Recipe(
    name="short",
    steps=(
        step(StepKind.RINSE, 36.0, 300.0, water=True),
        step(StepKind.PURGE, 6.0, 300.0, nitrogen=True),
        step(StepKind.DRY, 40.0, 600.0, nitrogen=True, heater_c=80.0),
        step(StepKind.DRY, 14.0, 500.0, nitrogen=True, heater_c=80.0),
    ),
)
"""The kinds of steps of a real recipe in a minute and a half."""


def program(*faults: Fault, recipe: Recipe = SHORT, load: Load = PARTIAL_LOAD, **more) -> Program:
    return Program(**{"run_number": 1, "seed": 11, **more}, recipe=recipe, load=load, faults=faults)


def fault(kind: FaultKind, size: float = 0.0) -> Fault:
    return Fault(kind=kind, size=size)


class Records:
    """Sample records of one run, with columns in their units."""

    def __init__(self, records: Iterable[list[int]]) -> None:
        self.raw = np.array(list(records), dtype=np.int64)
        self.time = np.arange(len(self.raw)) / SAMPLE_RATE_HZ

    def __getitem__(self, field: Field) -> NDArray[np.float64]:
        column = self.raw[:, field]
        if field in WIDE:
            column = column << 16 | self.raw[:, field + 1]
        if field in SIGNED:
            column = np.where(column > 0x7FFF, column - 0x10000, column)
        return column * SCALE.get(field, 1)

    def bit(self, bit: Status) -> NDArray[np.bool_]:
        """Give the samples in which an input is on."""
        return (self.raw[:, Field.STATUS] & bit) != 0

    def first(self, where: NDArray[np.bool_]) -> float:
        """Give the time of the first sample that fits."""
        assert where.any()
        return float(self.time[np.argmax(where)])

    def during(self, number: int) -> NDArray[np.bool_]:
        """Give the samples of one step of the recipe."""
        return self.raw[:, Field.STEP] == number

    def speed(self) -> NDArray[np.float64]:
        """Give the speed by the optical tach in rpm, from pulse to pulse, held between pulses."""
        count, edge = self[Field.OPTICAL_COUNT], self[Field.OPTICAL_EDGE_US]
        turned, passed = np.diff(count) % 65536, np.diff(edge) % 2**32
        speed, last = np.zeros(len(count)), 0.0
        for i in np.flatnonzero(turned):
            since = (edge[i + 1] - last) % 2**32
            speed[i + 1] = 60e6 * turned[i] / since if passed[i] else 0.0
            last = edge[i + 1]
        held = np.maximum.accumulate(np.where(speed > 0, np.arange(len(speed)), 0))
        return speed[held]


def run(*faults: Fault, head: VirtualHead | None = None, **more) -> Records:
    return Records(simulate(head or VirtualHead(LOWER), program(*faults, **more)))
