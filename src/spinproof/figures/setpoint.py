"""The set-point of the speed, as a recipe commands it."""

from collections.abc import Sequence

from spinproof.model.handover import Series
from spinproof.model.judgement import Segment
from spinproof.model.recipe import Recipe

SETPOINT = "set-point"


def setpoint_series(recipe: Recipe, segments: Sequence[Segment]) -> Series:
    """Give the commanded speed: from each step's start it approaches the step's speed by its ramp.

    Parameters
    ----------
    recipe : Recipe
        The recipe that was run.
    segments : sequence of Segment
        When its steps ran.

    Returns
    -------
    Series
        Corners of the set-point in rpm over time [s]; after the last step there is none.
    """
    time: list[float] = []
    speed: list[float] = []
    at = 0.0
    for segment in segments:
        step = recipe.steps[segment.step - 1]
        change = step.speed_rpm - at
        full = abs(change) / step.ramp_rpm_per_s
        spent = min(full, segment.end_s - segment.start_s)
        reached = at + change * (spent / full if full else 1.0)
        time += [segment.start_s, segment.start_s + spent, segment.end_s]
        speed += [at, reached, reached]
        at = reached
    return Series(name=SETPOINT, unit="rpm", time_s=tuple(time), values=tuple(speed))
