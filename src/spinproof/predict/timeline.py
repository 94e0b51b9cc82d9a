"""A recipe over time: the speed that it asks for, water, gas, and the gas temperature it gets."""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from spinproof.model.recipe import Recipe, StepKind, TimerBasis
from spinproof.physics.nitrogen import HEAT_CAPACITY, mass_flow_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.predict.least_squares import Array

KELVIN = 273.15
FINE_SPAN_S = 5.0
"""Longest time between two moments of a fine timeline, for drawing. [s]"""
FIRST_SPAN_S, GROWTH = 10.0, 2.5
"""First time between moments after a corner [s], and its growth: warming-up is fast at first."""
LOOK_AHEAD_S = (60.0, 180.0, 600.0, 1800.0)
"""Moments after the recipe's end to which its last step is prolonged, to see when it is dry. [s]"""
HOTTEST_C = 95.0
"""Gas temperatures are cut here: above, the laws of the hold-up do not reach. [degC]"""


@dataclass(frozen=True, eq=False)
class Timeline:
    """Moments of a recipe; between two of them the speed is linear, at a jump a moment repeats."""

    time_s: Array
    speed: Array
    """Angular speed. [rad/s]"""
    water: Array
    """1 where water sprays, else 0. [1]"""
    gas: Array
    """1 where nitrogen flows, else 0. [1]"""
    setpoint_c: Array
    """Set-point of the heater; NaN where it is off. [degC]"""

    @property
    def end_s(self) -> float:
        """Moment of the last point."""
        return float(self.time_s[-1])

    def after(self, moment: float) -> "Timeline":
        """Give the part from a moment on, which must be one of the timeline's own."""
        first = int(np.flatnonzero(self.time_s <= moment)[-1])
        return Timeline(
            self.time_s[first:],
            self.speed[first:],
            self.water[first:],
            self.gas[first:],
            self.setpoint_c[first:],
        )

    def prolonged(self) -> "Timeline":
        """Let the last step go on, for half an hour; without nitrogen nothing more would dry."""
        if self.gas[-1] == 0:
            return self
        more = np.array(LOOK_AHEAD_S) + self.end_s
        ahead = [np.concatenate([x, np.full(more.size, x[-1])]) for x in self._levels()]
        return Timeline(np.concatenate([self.time_s, more]), *ahead)

    def _levels(self) -> tuple[Array, Array, Array, Array]:
        return self.speed, self.water, self.gas, self.setpoint_c


def timeline(recipe: Recipe, *, fine: bool = False) -> Timeline:
    """Lay a recipe out in time.

    Parameters
    ----------
    recipe : Recipe
        The recipe, each step by its own timer basis.
    fine : bool
        Whether its moments lie close enough for a drawing. [1]

    Returns
    -------
    Timeline
        From the start of its first step to the end of its last.

    Notes
    -----
    Never raises. The rotor is taken to follow its ramps.
    """
    rows: list[tuple[float, float, float, float, float]] = []
    now, speed = 0.0, 0.0
    for step in recipe.steps:
        ramp = abs(step.speed_rpm - speed) / step.ramp_rpm_per_s
        total = step.duration_s
        if step.timer_basis is TimerBasis.FROM_AT_SPEED:
            total += ramp
        share = min(total / ramp, 1.0) if ramp > 0 else 1.0
        reached = speed + share * (step.speed_rpm - speed)
        ramp = min(ramp, total)
        heat = np.nan if step.heater_c is None else step.heater_c
        for at in _moments(ramp, total, fine=fine):
            part = min(at / ramp, 1.0) if ramp > 0 else 1.0
            rpm = speed + part * (reached - speed)
            rows.append((now + at, rpm, float(step.water), float(step.nitrogen), heat))
        now, speed = now + total, reached
    time, rpm, water, gas, heat_c = np.array(rows).T
    return Timeline(time, rpm * RAD_PER_S_PER_RPM, water, gas, heat_c)


def _moments(ramp: float, total: float, *, fine: bool) -> list[float]:
    """Give moments from 0 to the end of a step: the end of its ramp, and some between."""
    corners = sorted({0.0, ramp, total})
    found = [0.0]
    for first, last in itertools.pairwise(corners):
        span, at = FINE_SPAN_S if fine else FIRST_SPAN_S, first
        while last - at > 1.5 * span:
            at += span
            found.append(at)
            span *= 1.0 if fine else GROWTH
        found.append(last)
    return found


def wet_until(recipe: Recipe) -> float | None:
    """Give the moment at which the last water stops, or None for a recipe without a dry stage.

    Parameters
    ----------
    recipe : Recipe
        The recipe.

    Returns
    -------
    float or None
        Moment from the start of the recipe. [s]

    Notes
    -----
    Never raises. A recipe without water is taken to begin wet.
    """
    kinds = {step.kind for step in recipe.steps if not step.water}
    if not kinds & {StepKind.DRY, StepKind.PURGE} or recipe.steps[-1].water:
        return None
    line = timeline(recipe)
    wet = np.flatnonzero(line.water > 0)
    return float(line.time_s[wet[-1]]) if wet.size else 0.0


def gas_of(line: Timeline, known: Mapping[str, Array]) -> tuple[Array, Array]:
    """Mass flow and temperature of the nitrogen over a timeline, for draws of the head.

    Parameters
    ----------
    line : Timeline
        The recipe over time.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    flow : ndarray
        Mass flow, a row for a moment, a column for a draw. [kg/s]
    temperature : ndarray
        Temperature behind the heater, likewise. [degC]

    Notes
    -----
    Never raises. Full power until the set-point, then held; the heater begins cold.
    """
    full = mass_flow_of(known["n2_flow_slm"])
    flow = line.gas[:, None] * full
    taken = flow * HEAT_CAPACITY + known["heater_loss_w_k"] + 1e-3
    room, capacity = known["water_c"], known["heater_heat_capacity_j_k"]
    temperature = np.empty_like(flow)
    now = np.array(room)
    for i, span in enumerate(np.diff(line.time_s, prepend=line.time_s[0])):
        setpoint = line.setpoint_c[i]
        hot = bool(np.isfinite(setpoint))
        goal = room + (known["heater_w"] / taken[i] if hot else 0.0)
        now = goal + (now - goal) * np.exp(-span * taken[i] / capacity)
        if hot:
            now = np.minimum(now, max(float(setpoint), 0.0))
        now = np.minimum(now, HOTTEST_C)
        temperature[i] = np.maximum(now, 1.0)
    return flow, temperature
