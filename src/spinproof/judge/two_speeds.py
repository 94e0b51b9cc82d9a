"""Two sources that measure the speed independently must agree, else nobody knows the speed."""

from collections.abc import Sequence

import numpy as np

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.segments import StepRun
from spinproof.judge.speed_metrics import hold_speed

LEAST_SHARE = 0.01
"""Difference, in proportion, that two sources may always have; common practice, no source."""
_COVERAGE = 2.0


def speed_quarrels(runs: Sequence[StepRun], readings: Readings) -> list[str]:
    """Say which sources of the speed contradict one another, with the sizes.

    Parameters
    ----------
    runs : sequence of StepRun
        The steps; compared is in their holds, where clocks that are a little apart do not matter.
    readings : Readings
        The trace.

    Returns
    -------
    list of str
        A clause for each pair; the two tachs against one another are compared elsewhere.
    """
    computed = readings.computed
    if computed is None:
        return []
    tachs = [speed for speed in (readings.optical, readings.own) if speed is not None]
    found = (quarrel(runs, computed, tach) for tach in tachs)
    return [words for words in found if words is not None]


def quarrel(runs: Sequence[StepRun], one: Speed, other: Speed) -> str | None:
    """Say how far two speeds are apart, or give None when they agree.

    Parameters
    ----------
    runs : sequence of StepRun
        The steps.
    one, other : Speed
        Speeds of two sources.

    Returns
    -------
    str or None
        A clause with the worst pair of mean speeds and in how many holds they contradict; they
        do where they are further apart than 1 % and than their expanded uncertainty (k = 2).
    """
    apart: list[tuple[float, float, float]] = []
    holds = 0
    for run in runs:
        (a, u_a), (b, u_b) = hold_speed(run, one), hold_speed(run, other)
        if not (np.isfinite(a) and np.isfinite(b)) or max(abs(a), abs(b)) == 0:
            continue
        holds += 1
        allowed = max(LEAST_SHARE * max(abs(a), abs(b)), _COVERAGE * float(np.hypot(u_a, u_b)))
        if abs(a - b) > allowed:
            apart.append((abs(a - b) / max(abs(a), abs(b)), a, b))
    if not apart:
        return None
    share, a, b = max(apart)
    return (
        f'"{one.name}" and "{other.name}" disagree on the speed: {a:.0f} against {b:.0f} rpm '
        f"({100 * share:.1f} %) at worst, in {len(apart)} of {holds} holds; which of them is right "
        "is not known"
    )
