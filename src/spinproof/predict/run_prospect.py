"""What the drag of a head, calibrated on its coast-downs, leads to expect of a run's metrics."""

from collections.abc import Callable
from functools import partial

import numpy as np

from spinproof.model.head_model import Fit, HeadModel
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.series import Expected
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, coast_down_time, drag_torque
from spinproof.predict.coast_down import DRAG, INERTIA, SUBJECT
from spinproof.predict.least_squares import Array
from spinproof.predict.outcome import Task

OVER_INERTIA = ("drag_coulomb", "drag_viscous", "drag_windage")
"""Metrics of the three drag terms over inertia, in their order."""
COAST_FACTOR = 2.0
"""A coast that begins below so many times the index enable speed is not expected. [1]"""
Law = Callable[[Array], float]
Prospect = dict[tuple[str, int | None], Expected]


def prospect_of(model: HeadModel, recipe: Recipe, load: Load) -> Prospect:
    """Give what the calibrated drag of a head leads to expect of a run.

    Parameters
    ----------
    model : HeadModel
        The head as known.
    recipe : Recipe
        What is run.
    load : Load
        The wafers in the rotor.

    Returns
    -------
    dict
        By metric and step: time of the coast, and its deviation from the specified drag; the drag
        terms over inertia; and what the motor current follows in each step. Empty while the drag
        is not calibrated on the head's own runs.

    Notes
    -----
    Never raises. The rotor is taken to have reached the last step's speed. How the drive follows
    its ramps and settles is not known from coast-downs: nothing is expected of it. The standard
    uncertainties come from the covariance of the calibration; all runs share them.
    """
    fit = next((fit for fit in model.fits if fit.subject == SUBJECT), None)
    if fit is None:
        return {}
    task = Task(recipe, model.head, load)
    best = np.array([model.parameter(name).value for name in (*DRAG, INERTIA)])
    found = _coast(best, fit, task)
    for i, name in enumerate(OVER_INERTIA):
        value, spread = _with_spread(best, fit, partial(_over_inertia, i, task.added_inertia))
        found[name, None] = Expected(value, spread, "drag over inertia")
    for number, step in enumerate(recipe.steps, start=1):
        speed = step.speed_rpm * RAD_PER_S_PER_RPM
        value, spread = _with_spread(best, fit, partial(_torque, speed))
        what = "drag torque at the set-point"
        found["motor_current", number] = Expected(value, spread, what, is_shape=True)
    return found


def _over_inertia(term: int, added: float, p: Array) -> float:
    return float(p[term] / (p[-1] + added))


def _torque(speed: float, p: Array) -> float:
    return float(drag_torque(speed, *np.maximum(p[:3], 0.0)))


def _coast(best: Array, fit: Fit, task: Task) -> Prospect:
    head, first = task.head, task.recipe.steps[-1].speed_rpm
    if first < COAST_FACTOR * head.index_enable_rpm:
        return {}
    speeds = first * RAD_PER_S_PER_RPM, head.index_enable_rpm * RAD_PER_S_PER_RPM

    def lasts(p: Array) -> float:
        a, b, k = np.maximum(p[:3], 0.0)
        return float(coast_down_time(p[-1] + task.added_inertia, a, b, k, speeds[0], speeds[1]))

    value, spread = _with_spread(best, fit, lasts)
    found: Prospect = {("coast_time", None): Expected(value, spread, "coast")}
    specified = np.array([getattr(head, name) for name in (*DRAG, INERTIA)])
    if specified[:3].any():
        share = 100 / lasts(specified)
        found["coast_time_error", None] = Expected(share * value - 100, share * spread, "coast")
    return found


def _with_spread(best: Array, fit: Fit, law: Law) -> tuple[float, float]:
    """Give a law's value at the estimates, and its standard uncertainty by their covariance."""
    covariance = np.array(fit.covariance)
    names = (*DRAG, INERTIA)
    slopes = []
    for i, name in enumerate(fit.parameters):
        aside = best.copy()
        at = names.index(name)
        step = max(1e-3 * abs(best[at]), 0.1 * float(np.sqrt(covariance[i, i])), 1e-12)
        aside[at] += step
        slopes.append((law(aside) - law(best)) / step)
    along = np.array(slopes)
    return law(best), float(np.sqrt(max(float(along @ covariance @ along), 0.0)))
