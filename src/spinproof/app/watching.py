"""What a run does at this moment, from the samples that have come so far."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings, Speed
from spinproof.model.channel import Role
from spinproof.model.handover import Series
from spinproof.model.recipe import Recipe, Step, TimerBasis
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING
from spinproof.model.run import Ending, RunHeader
from spinproof.model.trace import Signal, Trace
from spinproof.signals.tach import speed_upper_bound

KEPT_S = 120.0
"""How much of the past is given at the first look. [s]"""
MEMORY_S = 6.0
"""How far back edges are remembered: one pulse in 6 s is 10 rpm at one pulse a revolution. [s]"""
QUIET_S = 0.5
"""After so long without a pulse, a tach turns slower than its last speed says. [s]"""
NEAR_SHARE = 0.01
NEAR_RPM = 5.0
"""A timer that starts at speed starts within 1 % of the set-point, or this near to it."""


class SpeedWatch:
    """Speed from the samples that have come so far."""

    def __init__(self) -> None:
        self.speed_rpm: float | None = None
        """The newest speed; None while no instrument sees the rotor turn."""
        self._recent: dict[str, Signal] = {}
        self._shown_s = -np.inf

    def follow(self, new: Mapping[str, Signal], header: RunHeader) -> Series:
        """Take new samples in, and give the speed since the last look.

        Parameters
        ----------
        new : mapping of str to Signal
            Samples since the last look, by channel name.
        header : RunHeader
            What is known about the run.

        Returns
        -------
        Series
            Speed over time, named by the instrument it comes from.
        """
        if not new:
            return _curve("", np.empty(0), np.empty(0))
        joined = {name: _joined(self._recent.get(name), signal) for name, signal in new.items()}
        name, time, speed = speeds(Trace(header, joined, (), Ending.COMPLETE, ""))
        self.speed_rpm = float(speed[-1]) if speed.size else None
        later = time > max(self._shown_s, (time[-1] if time.size else 0.0) - KEPT_S)
        time, speed = time[later], speed[later]
        self._shown_s = float(time[-1]) if time.size else self._shown_s
        self._recent = {name: _since(signal, MEMORY_S) for name, signal in joined.items()}
        return _curve(name, time, speed)


def speeds(trace: Trace) -> tuple[str, NDArray[np.float64], NDArray[np.float64]]:
    """Give the speeds by the best instrument that sees the rotor turn.

    Parameters
    ----------
    trace : Trace
        The samples so far, or the newest of them.

    Returns
    -------
    tuple of str and two ndarray
        Name of the instrument, times [s] and speeds [rpm]; empty while none sees it turn. A tach
        that sees no pulse for a while gives a last speed that falls with the waiting time.
    """
    readings = Readings(trace)
    ways = ("optical", "reference", "own")
    candidates = (getattr(readings, way) for way in ways)  # none is worked out that is not asked
    best: Speed | None = next((found for found in candidates if found and found.turned), None)
    if best is None:
        return "", np.empty(0), np.empty(0)
    rotation, now = best.rotation, trace.duration_s
    if rotation is None or now - rotation.edge_s[-1] <= QUIET_S:
        return best.name, best.time_s, best.rpm
    slower = min(float(best.rpm[-1]), speed_upper_bound(rotation, now))
    return best.name, np.append(best.time_s, now), np.append(best.rpm, slower)


class StepWatch:
    """The step that the controller says it executes, and how long it has run."""

    def __init__(self) -> None:
        self.step: int | None = None
        """As the controller states it; None while no channel states it."""
        self._since_s = 0.0
        self._at_speed_s: float | None = None
        self._now_s = 0.0

    def follow(self, new: Mapping[str, Signal], recipe: Recipe, speed: Series) -> None:
        """Take new samples in.

        Parameters
        ----------
        new : mapping of str to Signal
            Samples since the last look, by channel name.
        recipe : Recipe
            What is executed.
        speed : Series
            Speed over the same time.
        """
        for signal in new.values():
            if signal.time_s.size:
                self._now_s = max(self._now_s, float(signal.time_s[-1]))
            if signal.channel.role is Role.STEP and signal.time_s.size:
                self._follow_steps(signal)
        step = self.running(recipe)
        if step is not None and self._at_speed_s is None:
            self._at_speed_s = _first_near(step, speed, self._since_s)

    def running(self, recipe: Recipe) -> Step | None:
        """Give the step of the recipe that runs, or None between them."""
        number = self.step or 0
        return recipe.steps[number - 1] if 1 <= number <= len(recipe.steps) else None

    def in_words(self, recipe: Recipe) -> str:
        """Say what the controller does."""
        step = self.running(recipe)
        if step is not None:
            return f"{self.step} of {len(recipe.steps)}: {step.name}"
        named = {None: "not stated", STEP_IDLE: "idle", STEP_STOPPING: "stopping"}
        return named.get(self.step, f"unknown step {self.step}")

    def left_s(self, recipe: Recipe) -> float | None:
        """Give the time left by the step's own timer [s], or None while that has not begun."""
        step = self.running(recipe)
        if step is None:
            return None
        from_command = step.timer_basis is TimerBasis.FROM_COMMAND
        began = self._since_s if from_command else self._at_speed_s
        return None if began is None else max(0.0, step.duration_s - (self._now_s - began))

    def _follow_steps(self, signal: Signal) -> None:
        before = np.concatenate([[-1 if self.step is None else self.step], signal.counts[:-1]])
        changes = np.flatnonzero(signal.counts != before)
        if changes.size:
            self.step = int(signal.counts[changes[-1]])
            self._since_s = float(signal.time_s[changes[-1]])
            self._at_speed_s = None


def _joined(before: Signal | None, new: Signal) -> Signal:
    if before is None:
        return new
    later = new.time_s > before.time_s[-1] if before.time_s.size else np.ones(new.time_s.size, bool)
    return Signal(
        new.channel,
        np.concatenate([before.time_s, new.time_s[later]]),
        np.concatenate([before.counts, new.counts[later]]),
    )


def _since(signal: Signal, memory_s: float) -> Signal:
    if not signal.time_s.size:
        return signal
    recent = signal.time_s >= signal.time_s[-1] - memory_s
    return Signal(signal.channel, signal.time_s[recent], signal.counts[recent])


def _first_near(step: Step, speed: Series, since_s: float) -> float | None:
    band = max(NEAR_RPM, NEAR_SHARE * step.speed_rpm)
    for time, value in zip(speed.time_s, speed.values, strict=True):
        if time >= since_s and value is not None and abs(value - step.speed_rpm) <= band:
            return time
    return None


def _curve(name: str, time: NDArray[np.float64], speed: NDArray[np.float64]) -> Series:
    values = tuple(float(v) if np.isfinite(v) else None for v in speed)
    return Series(name=name, unit="rpm", time_s=tuple(map(float, time)), values=values)
