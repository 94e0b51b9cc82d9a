"""The steps of a run as the trace shows them, and how each kept its time."""

from dataclasses import dataclass

import numpy as np

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.verdicts import measured, missing
from spinproof.model.judgement import Metric, Segment
from spinproof.model.recipe import Recipe, Step, TimerBasis
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING
from spinproof.signals.steps import first_entry, settling_moment

BAND_SHARE, BAND_RPM = 0.01, 10.0
"""Half-width of the speed band: 1 % of the set-point, at least 10 rpm (common practice)."""
SETTLED_S = 2.0
"""What is left out after a ramp before the hold is averaged, at most. [s]"""


@dataclass(frozen=True)
class StepRun:
    """One step as it ran."""

    number: int
    step: Step
    from_rpm: float
    """Set-point before the step."""
    start_s: float
    end_s: float
    error_s: float
    """Largest error of start and end together: one sample period at each."""
    is_whole: bool
    """Whether the trace shows both its start and its end."""
    has_speed: bool
    """Whether there is evidence for the rotor's speed in it."""
    at_speed_s: float | None
    settled_s: float | None
    """When the speed entered its band for good, or absent when it ended outside."""
    entry_s: float = 0.0
    """Standard uncertainty of such an entry, by spacing and uncertainty of the speed readings."""

    @property
    def band_rpm(self) -> float:
        """Half-width of the band around the set-point."""
        return max(BAND_SHARE * self.step.speed_rpm, BAND_RPM)

    @property
    def has_ramp(self) -> bool:
        """Whether the step changes the speed by more than its band."""
        return abs(self.step.speed_rpm - self.from_rpm) > self.band_rpm

    @property
    def ramp_s(self) -> float:
        """Programmed time of the ramp."""
        return abs(self.step.speed_rpm - self.from_rpm) / self.step.ramp_rpm_per_s

    @property
    def demanded_hold_s(self) -> float:
        """Time at speed that the recipe asks for, by the step's own timer basis."""
        if self.step.timer_basis is TimerBasis.FROM_AT_SPEED:
            return self.step.duration_s
        return max(self.step.duration_s - self.ramp_s, 0.0)

    @property
    def hold(self) -> tuple[float, float] | None:
        """The part of the step in which the speed should be steady, or None when there is none."""
        if not self.has_speed:
            return None
        begin = self.start_s + self.ramp_s
        begin = begin if self.settled_s is None else max(begin, self.settled_s)
        end = self.end_s - self.error_s / 2
        begin += min(SETTLED_S, 0.3 * (end - begin)) if self.has_ramp else 0.0
        return (begin, end) if end > begin else None

    @property
    def segment(self) -> Segment:
        """The step as the judgement shows it."""
        return Segment(
            step=self.number,
            name=self.step.name,
            kind=self.step.kind,
            start_s=round(self.start_s, 4),
            end_s=round(self.end_s, 4),
            at_speed_s=None if self.at_speed_s is None else round(self.at_speed_s, 4),
        )


@dataclass(frozen=True)
class Stretch:
    """A stretch of time in which the controller said the same step."""

    number: int
    start_s: float
    end_s: float
    start_error_s: float
    end_error_s: float
    has_start: bool
    has_end: bool

    @property
    def error_s(self) -> float:
        """Largest error of its length."""
        return self.start_error_s + self.end_error_s


def stretches(readings: Readings) -> tuple[Stretch, ...]:
    """Cut the trace where the controller's step changes."""
    if readings.step is None:
        return ()
    time, number = readings.step
    change = np.flatnonzero(np.diff(number)) + 1
    bounds = (time[change] + time[change - 1]) / 2
    errors = time[change] - time[change - 1]
    starts = np.concatenate([time[:1], bounds])
    ends = np.concatenate([bounds, time[-1:]])
    wide = np.concatenate([[0.0], errors, [0.0]])
    first = np.concatenate([[0], change])
    return tuple(
        Stretch(
            number=int(number[first[i]]),
            start_s=float(starts[i]),
            end_s=float(ends[i]),
            start_error_s=float(wide[i]),
            end_error_s=float(wide[i + 1]),
            has_start=i > 0,
            has_end=i < change.size,
        )
        for i in range(first.size)
    )


def step_runs(
    parts: tuple[Stretch, ...], recipe: Recipe, speed: Speed | None
) -> tuple[StepRun, ...]:
    """Give the recipe's steps as they ran; a step that never ran is left out."""
    runs = []
    before = [0.0] + [step.speed_rpm for step in recipe.steps]
    for number, step in enumerate(recipe.steps, start=1):
        part = next((part for part in parts if part.number == number), None)
        if part is not None:
            runs.append(_step_run(number, step, before[number - 1], part, speed))
    return tuple(runs)


def executed(parts: tuple[Stretch, ...]) -> tuple[int, ...]:
    """Give the numbers of the steps in the order in which they ran."""
    return tuple(part.number for part in parts if STEP_IDLE < part.number < STEP_STOPPING)


def duration_metrics(
    runs: tuple[StepRun, ...], recipe: Recipe, *, has_step_channel: bool
) -> list[Metric]:
    """Compare how long each step ran with its recipe, by the step's own timer basis."""
    by_number = {run.number: run for run in runs}
    metrics = []
    for number in range(1, len(recipe.steps) + 1):
        run = by_number.get(number)
        if run is None:
            why = (
                f"step {number} never ran"
                if has_step_channel
                else "no channel says which step the controller executes"
            )
            metrics.append(missing("step_duration_error", why, step=number))
        else:
            metrics.append(_duration_metric(run))
    return metrics


def _duration_metric(run: StepRun) -> Metric:
    if not run.is_whole:
        why = "the trace does not show both the start and the end of the step"
        return missing("step_duration_error", why, step=run.number)
    begin, uncertainty = run.start_s, run.error_s / 2 / np.sqrt(6)
    if run.step.timer_basis is TimerBasis.FROM_AT_SPEED:
        if run.at_speed_s is None:
            why = "the step's timer starts at speed, and the speed was never seen to be reached"
            return missing("step_duration_error", why, step=run.number)
        begin, uncertainty = (
            run.at_speed_s,
            float(np.hypot(run.error_s / 2 / np.sqrt(12), run.entry_s)),
        )
    ran = run.end_s - begin
    return measured(
        "step_duration_error",
        ran - run.step.duration_s,
        uncertainty,
        step=run.number,
        note=f"{ran:.1f} s of {run.step.duration_s:.1f} s",
    )


def _step_run(
    number: int, step: Step, from_rpm: float, part: Stretch, speed: Speed | None
) -> StepRun:
    at_speed = settled = None
    has_speed, entry = False, 0.0
    if speed is not None and speed.turned and part.end_s > part.start_s:
        band = max(BAND_SHARE * step.speed_rpm, BAND_RPM)
        time, rpm = speed.window(part.start_s, part.end_s - part.error_s / 2)
        has_speed = time.size > 1
        at_speed = _known(first_entry(time, rpm, step.speed_rpm, band))
        settled = _known(settling_moment(time, rpm, step.speed_rpm, band))
        entry = _entry_uncertainty(step, part, speed)
    return StepRun(
        number=number,
        step=step,
        from_rpm=from_rpm,
        start_s=part.start_s,
        end_s=part.end_s,
        error_s=part.error_s,
        is_whole=part.has_start and part.has_end,
        has_speed=has_speed,
        at_speed_s=at_speed,
        settled_s=settled,
        entry_s=entry,
    )


def _entry_uncertainty(step: Step, part: Stretch, speed: Speed) -> float:
    """Give the standard uncertainty of the moment at which a ramp enters its band, in seconds."""
    inside = (speed.time_s >= part.start_s) & (speed.time_s <= part.end_s)
    gaps = np.diff(speed.time_s[inside])
    spacing = float(np.median(gaps)) if gaps.size else part.end_s - part.start_s
    each = float(np.median(speed.uncertainty_rpm[inside])) if inside.any() else 0.0
    unsure = float(np.hypot(each, speed.relative * step.speed_rpm))
    return float(np.hypot(spacing / np.sqrt(12), unsure / step.ramp_rpm_per_s))


def _known(moment: float) -> float | None:
    return None if np.isnan(moment) else moment
