"""What of a metric the recipe explains, so that runs of different recipes can be compared."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from spinproof.model.judgement import Judgement
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.series import Compared, Expected
from spinproof.stats.robust_fit import RobustFit, robust_fit

BY_RECIPE = {
    "vibration",
    "vibration_peak",
    "motor_current",
    "hold_speed",
    "ripple",
    "ramp_rate",
    "ramp_error",
    "overshoot",
    "settling_time",
    "time_at_speed",
    "time_at_speed_shortfall",
    "end_resistivity",
    "resistivity_shortfall",
    "n2_temperature",
    "n2_temperature_error",
    "coast_time",
    "drag_coulomb",
    "drag_viscous",
    "drag_windage",
    "dose",
}
"""Metrics whose value follows from speeds, durations and load (common practice)."""
RUNS_PER_UNKNOWN = 3
"""Fewer would let the fit follow the scatter from run to run. [1]"""
FEATURES = "speed, its square, duration, ramp, wafers, heater"


@dataclass(frozen=True)
class SeenRun:
    """A run of a campaign, as a series looks at it.

    Attributes
    ----------
    name : str
        Name of the run.
    position : int
        Place in the campaign, counted from 1. [1]
    recipe, load : Recipe, Load
        What was run.
    repeats : bool
        Whether the plan repeats this recipe on purpose: the customer's.
    judgement : Judgement
        What it showed.
    expected : mapping
        What the calibrated head expects, by metric and step; empty without a calibration.
    """

    name: str
    position: int
    recipe: Recipe
    load: Load
    repeats: bool
    judgement: Judgement
    expected: Mapping[tuple[str, int | None], Expected] = field(default_factory=dict)


@dataclass(frozen=True)
class Comparable:
    """Values that can be compared from run to run.

    Attributes
    ----------
    compared : Compared
        What they were compared with.
    how : str
        The same in words.
    places : tuple of int
        Which of the given runs are in it.
    left_over : tuple of float
        What the recipe does not explain. [unit of the metric]
    expected : tuple of float
        What it explains; zero where nothing was taken off. [unit of the metric]
    spent : int
        Unknowns that were fitted for it, beside a mean. [1]
    """

    compared: Compared
    how: str
    places: tuple[int, ...]
    left_over: tuple[float, ...]
    expected: tuple[float, ...]
    spent: int = 0


def comparable(
    metric: str,
    step: int | None,
    runs: Sequence[SeenRun],
    values: Sequence[float],
    change: Sequence[float] = (),
) -> Comparable:
    """Take off a metric what the recipe explains.

    Parameters
    ----------
    metric : str
        Name of the metric.
    step : int or None
        Number of its step; None for the run as a whole.
    runs : sequence of SeenRun
        The runs in which it was measured.
    values : sequence of float
        Its value in each. [unit of the metric]
    change : sequence of float
        Shape of a known drift, so that a fit does not take it for an effect of the recipes. [1]

    Returns
    -------
    Comparable
        What is left over. With too few runs for a fit, the runs of the repeated recipe alone.
    """
    everywhere = tuple(range(len(runs)))
    modelled = _by_model(metric, step, runs, values, change)
    if modelled is not None:
        return modelled
    if metric not in BY_RECIPE:
        how = "the values themselves: they do not depend on the recipe, or allow for it already"
        return Comparable(Compared.VALUES, how, everywhere, tuple(values), (0.0,) * len(runs))
    unknowns = 0
    if len(runs) > 1:
        features = np.array([_features(run, step) for run in runs])
        fit, unknowns = _fitted(values, features, change)
        if len(runs) >= RUNS_PER_UNKNOWN * unknowns:
            how = (
                f"what a robust fit of {_counted(unknowns)} over {len(runs)} runs leaves "
                f"({FEATURES}{', the drift itself' if len(change) else ''})"
            )
            return _left(Compared.FIT, how, fit, change, unknowns)
    return _repeated(runs, values, unknowns)


def _fitted(
    values: Sequence[float], features: NDArray[np.float64], change: Sequence[float]
) -> tuple[RobustFit, int]:
    """Fit features, and the shape of a known drift beside them."""
    if len(change):
        features = np.column_stack((features, change))
    fit = robust_fit(values, features)
    return fit, fit.unknowns


def _left(
    compared: Compared, how: str, fit: RobustFit, change: Sequence[float], unknowns: int
) -> Comparable:
    """Give what a fit leaves, a known drift left in."""
    count = fit.residuals.size
    moved = fit.slopes[-1] * np.asarray(change) if len(change) else np.zeros(count)
    left = tuple(map(float, fit.residuals + moved))
    spent = unknowns - 1 - int(bool(len(change)))
    expected = tuple(map(float, fit.fitted - moved))
    return Comparable(compared, how, tuple(range(count)), left, expected, max(spent, 0))


def _by_model(
    metric: str,
    step: int | None,
    runs: Sequence[SeenRun],
    values: Sequence[float],
    change: Sequence[float],
) -> Comparable | None:
    """Take off what the calibrated head expects, where it expects something of every run."""
    known = [one for run in runs if (one := run.expected.get((metric, step))) is not None]
    if not known or len(known) < len(runs):
        return None
    expected = tuple(one.value for one in known)
    if known[0].is_shape:
        fit, unknowns = _fitted(values, np.array(expected)[:, None], change)
        if len(runs) < RUNS_PER_UNKNOWN * unknowns:
            return None
        how = (
            f"what is left beside the {known[0].what} of the head as calibrated on its own "
            "coast-downs, offset and factor fitted"
        )
        return _left(Compared.MODEL, how, fit, change, unknowns)
    unsure = float(np.median([one.uncertainty for one in known]))
    how = (
        f"the values less the {known[0].what} of the head as calibrated on its own coast-downs, "
        f"standard uncertainty {unsure:.2g}, the same for all runs"
    )
    left = tuple(value - one for value, one in zip(values, expected, strict=True))
    return Comparable(Compared.MODEL, how, tuple(range(len(runs))), left, expected)


def _repeated(runs: Sequence[SeenRun], values: Sequence[float], unknowns: int) -> Comparable:
    """Keep the runs of the recipe and load that the plan repeats most often."""
    alike = Counter((run.recipe.name, run.load.name) for run in runs if run.repeats)
    name = alike.most_common(1)[0][0] if alike else None
    places = tuple(
        i for i, run in enumerate(runs) if run.repeats and (run.recipe.name, run.load.name) == name
    )
    how = (
        f"the {len(places)} runs of the repeated recipe{f' {name[0]}' if name else ''} alone: "
        f"{len(runs)} runs are too few for a fit of {_counted(unknowns)}"
    )
    kept = tuple(values[i] for i in places)
    return Comparable(Compared.REPEATED, how, places, kept, (0.0,) * len(places))


def _counted(unknowns: int) -> str:
    return f"{unknowns} unknown{'s' if unknowns != 1 else ''}"


def _features(run: SeenRun, step: int | None) -> tuple[float, ...]:
    """Give what a metric may depend on; for the run as a whole, of the step it coasts from."""
    of = run.recipe.steps[(len(run.recipe.steps) if step is None else step) - 1]
    return (
        of.speed_rpm,
        of.speed_rpm**2,
        of.duration_s,
        of.ramp_rpm_per_s,
        float(run.load.wafer_count),
        of.heater_c or 0.0,
    )
