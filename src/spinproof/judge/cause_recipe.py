"""Whether what ran fits another known recipe better than the planned one."""

from collections.abc import Iterable

from spinproof.model.judgement import Judgement
from spinproof.model.recipe import Recipe, Step, TimerBasis

SPEED_SHARE, SPEED_RPM = 0.005, 2.0
"""A mean speed this far from the recipe's is off by one."""
TIME_S, RAMP_SHARE = 0.5, 0.1
"""A step whose length is this far from the recipe's is off by one; ramps are paced loosely."""
FITS, MISSES = 2.0, 3.0


def better_recipe(judgement: Judgement, planned: Recipe, others: Iterable[Recipe]) -> str | None:
    """Say which other recipe a run fits better than the planned one.

    Parameters
    ----------
    judgement : Judgement
        What the planned recipe made of the run.
    planned : Recipe
        The recipe that should have run.
    others : iterable of Recipe
        Recipes that may have run instead.

    Returns
    -------
    str or None
        A sentence with both names, or nothing when the planned recipe fits, or no other does.

    Notes
    -----
    A recipe fits by its worst step: the mean speed held, and the length of every step, with
    the ramp where the timer starts at speed. Both come from the trace alone.
    """
    own, where = _misfit(judgement, planned)
    if own <= MISSES:
        return None
    fits = [(_misfit(judgement, r)[0], r) for r in others if r != planned]
    misfit, best = min(fits, key=lambda fit: fit[0], default=(float("inf"), planned))
    if misfit >= FITS:
        return None
    return (
        f"the trace fits recipe {best.name} revision {best.revision} better than {planned.name} "
        f"revision {planned.revision}: {where}"
    )


def _misfit(judgement: Judgement, recipe: Recipe) -> tuple[float, str]:
    """Give how far the worst step is from the recipe, in tolerances, and what it is."""
    held = {m.step: m.value for m in judgement.metrics if m.name == "hold_speed"}
    worst = (0.0, "")
    if {s.step for s in judgement.segments} != set(range(1, len(recipe.steps) + 1)):
        return float("inf"), "the number of steps differs"
    before = 0.0
    for segment, step in zip(judgement.segments, recipe.steps, strict=True):
        speed = held.get(segment.step)
        if speed is not None:
            off = abs(speed - step.speed_rpm) / (SPEED_SHARE * step.speed_rpm + SPEED_RPM)
            worst = max(worst, (off, f"{segment.name} at {speed:.0f} rpm, not {step.speed_rpm:g}"))
        ran = segment.end_s - segment.start_s
        wanted, allowed = _length(step, before)
        off = abs(ran - wanted) / allowed
        worst = max(worst, (off, f"{segment.name} for {ran:.1f} s, not {wanted:.1f}"))
        before = step.speed_rpm
    return worst


def _length(step: Step, before: float) -> tuple[float, float]:
    """Give how long a step takes, and by how much it may differ [s]."""
    if step.timer_basis is TimerBasis.FROM_COMMAND:
        return step.duration_s, TIME_S
    ramp = abs(step.speed_rpm - before) / step.ramp_rpm_per_s
    return step.duration_s + ramp, TIME_S + RAMP_SHARE * ramp
