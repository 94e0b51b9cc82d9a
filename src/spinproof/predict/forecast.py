"""What a recipe will do on a head: medians and intervals from draws of what is known."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from spinproof.model.head_model import HeadModel, Origin
from spinproof.model.load import Load
from spinproof.model.prediction import Band, Estimate, Influence, Odds, Prediction
from spinproof.model.recipe import Recipe
from spinproof.model.software import SOFTWARE
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.physics.wafer import relative_centrifugal_force, spin_stress
from spinproof.predict.influence import Indices, sobol_indices
from spinproof.predict.knowledge import draw, groups_of
from spinproof.predict.least_squares import Array
from spinproof.predict.outcome import (
    Known,
    Task,
    drain_mohm_cm,
    dry_moments,
    film,
    hold_up_g,
    residuals_g,
    utilities,
)
from spinproof.predict.timeline import LOOK_AHEAD_S

LEVELS = (0.025, 0.5, 0.975)
BAND_DRAWS, INDEX_DRAWS = 2000, 2000
RULES = 0.2
"""Total index from which a prior is said to rule an answer. [1]"""
POISSON = (0.064, 0.278, 0.36)
"""Poisson's ratio of silicon: least, usual and largest over the directions of a wafer. [1]"""
LAMINAR_SPEED_RADIUS2 = 2e5 * 1.56e-5
"""Speed times squared radius up to which the gas at a free disk is laminar. [m²/s]"""
MEASUREMENTS = {
    "hold_up_g": "weigh cassette and wafers dry and after spin-off",
    "conductance_m3_s": "a dew-point sensor in the exhaust, or weighings of interrupted runs",
    "bowl_heat_capacity_j_k": "a thermometer in the bowl during a warm-up",
    "windage_w": "a thermometer in the bowl during a long fast spin without heat",
    "gas_exchange": "witness wafers in the first, middle and last slot, filmed",
    "film_um": "weigh a wafer after the rinse",
    "heater_heat_capacity_j_k": "three recorded warm-ups",
    "heater_loss_w_k": "three recorded warm-ups",
    "water_c": "the temperature of the rinse water",
}
_NAMES = {"hold_up_g": "hold-up", "conductance_m3_s": "conductance"}


def predict(task: Task, model: HeadModel, *, draws: int, seed: int) -> Prediction:
    """Predict what a recipe will do.

    Parameters
    ----------
    task : Task
        Recipe, head and load.
    model : HeadModel
        What is known of the head.
    draws : int
        Number of draws. [1]
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    Prediction
        With intervals throughout; the same inputs give the same numbers.

    Raises
    ------
    OutOfRangeError
        If a law does not hold for the recipe or a draw.
    """
    generator = np.random.default_rng(seed)
    known = draw(model, generator, draws)
    moments = dry_moments(task, known)
    residuals = residuals_g(task, known)
    influences = _influences(task, model, generator)
    return Prediction(
        head=task.head.designation,
        recipe=task.recipe,
        wafers=task.load.wafer_count,
        draws=draws,
        seed=seed,
        simulated=model.simulated,
        process_time_s=task.line.end_s,
        dry_time=None if task.drying is None else dry_time_of(moments, task),
        estimates=_estimates(task, known, residuals),
        odds=_odds(task, known, residuals),
        bands=_bands(task, {name: x[:BAND_DRAWS] for name, x in known.items()}),
        influences=influences,
        calibrate_first=calibrate_first(influences),
        cautions=cautions_of(task, model),
        software=SOFTWARE,
    )


def dry_time_of(moments: Array, task: Task) -> Estimate:
    """Summarise moments of dryness; those beyond the look-ahead count as later.

    Parameters
    ----------
    moments : ndarray
        From the start of the recipe, infinite where never. [s]
    task : Task
        The recipe.

    Returns
    -------
    Estimate
        In seconds.

    Notes
    -----
    Never raises.
    """
    last = task.line.end_s + LOOK_AHEAD_S[-1]
    low, median, high = np.quantile(np.minimum(moments, last), LEVELS, method="inverted_cdf")
    return Estimate(
        label=f"dry to {task.dry_g:g} g, from the start",
        unit="s",
        median=float(median),
        low=float(low),
        high=float(high),
        censored=bool(high >= last),
    )


def summary(label: str, unit: str, values: Array) -> Estimate:
    """Give median and 95 % interval of draws.

    Parameters
    ----------
    label : str
        What they are.
    unit : str
        Their unit.
    values : ndarray
        The draws. [unit]

    Returns
    -------
    Estimate
        In that unit.

    Notes
    -----
    Never raises for finite values.
    """
    low, median, high = np.quantile(values, LEVELS)
    return Estimate(label=label, unit=unit, median=float(median), low=float(low), high=float(high))


def odds_of(label: str, holds: NDArray[np.bool_]) -> Odds:
    """Give the share of draws for which something holds.

    Parameters
    ----------
    label : str
        What holds.
    holds : ndarray of bool
        Whether it does, by draw. [1]

    Returns
    -------
    Odds
        With the numerical uncertainty of the share.

    Notes
    -----
    Never raises.
    """
    share, size = float(np.mean(holds)), holds.size
    return Odds(
        label=label,
        probability=share,
        numerical_uncertainty=float(np.sqrt(max(share * (1 - share), 1 / size) / size)),
    )


def calibrate_first(influences: Sequence[Influence]) -> tuple[str, ...]:
    """Say which priors rule the dry time, and what would tell.

    Parameters
    ----------
    influences : sequence of Influence
        Indices of the parameters.

    Returns
    -------
    tuple of str
        One line for each.

    Notes
    -----
    Never raises.
    """
    ruling = [x for x in influences if x.origin != Origin.CALIBRATED and x.total >= RULES]
    return tuple(
        f"{x.label}: {MEASUREMENTS.get(x.parameter, 'measure it on this head')}" for x in ruling
    )


def cautions_of(task: Task, model: HeadModel) -> tuple[str, ...]:
    """Say what a prediction does not know.

    Parameters
    ----------
    task : Task
        Recipe, head and load.
    model : HeadModel
        What is known of the head.

    Returns
    -------
    tuple of str
        Sentences.

    Notes
    -----
    Never raises.
    """
    found = [
        "a prediction proves nothing: only runs do",
        "the structure of the drying model is uncertain beyond the interval: two plausible ones "
        "gave odds of 0.77 and 0.97 for the same priors",
        "dry means residual water here, not visible drops nor watermarks",
    ]
    if task.drying is None:
        found.insert(0, "the recipe ends wet, or without nitrogen: nothing is said of its drying")
    if task.head.axis == "off-axis":
        found.append("off the axis the film is thinner than computed: an upper bound")
    if any(fit.subject == "weighings" for fit in model.fits):
        found.append("the hold-up holds for the cassette and the wafers that were weighed")
    radius = task.head.wafer_diameter_mm / 2000
    if task.line.speed.max() * radius**2 > LAMINAR_SPEED_RADIUS2:
        found.append("the gas at the wafer's rim is turbulent: the film dries faster than computed")
    if (task.line.setpoint_c > 95).any():
        found.append("heat beyond 95 °C is left out of the drying")
    return tuple(found)


def influences_of(task: Task, model: HeadModel, seed: int) -> tuple[Influence, ...]:
    """Rank what would change the dry time most.

    Parameters
    ----------
    task : Task
        The recipe.
    model : HeadModel
        What is known of the head.
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    tuple of Influence
        By falling total index, those that matter.

    Raises
    ------
    OutOfRangeError
        If a law does not hold for a draw.
    """
    return _influences(task, model, np.random.default_rng(seed))


def _influences(
    task: Task, model: HeadModel, generator: np.random.Generator
) -> tuple[Influence, ...]:
    if task.drying is None:
        return ()
    wet = {"hold_up_g", "conductance_m3_s", "bowl_heat_capacity_j_k", "windage_w", "water_c"}
    gas = {"n2_flow_slm", "heater_w", "heater_heat_capacity_j_k", "heater_loss_w_k"}
    groups = [group for group in groups_of(model) if set(group) & (wet | gas)]
    one, other = draw(model, generator, INDEX_DRAWS), draw(model, generator, INDEX_DRAWS)
    last = task.line.end_s + LOOK_AHEAD_S[-1]

    def answer(known: Mapping[str, Array]) -> Array:
        return np.log(np.minimum(dry_moments(task, known), last))

    found = sorted(sobol_indices(answer, one, other, groups), key=lambda x: -x.total)
    return tuple(_influence(model, each) for each in found if each.total >= 0.005)


def _influence(model: HeadModel, found: Indices) -> Influence:
    lead = model.parameter(found.group[0])
    names = [_NAMES.get(name, model.parameter(name).label) for name in found.group]
    return Influence(
        parameter=lead.name,
        label=" and ".join(names) if len(names) > 1 else lead.label,
        origin=lead.origin.value,
        first=found.first,
        total=found.total,
        error=found.error,
    )


def _odds(task: Task, known: Known, residuals: Array) -> tuple[Odds, ...]:
    odds, end = [], task.line.end_s
    if task.drying is not None:
        dry = residuals <= task.dry_g
        odds.append(odds_of(f"dry to {task.dry_g:g} g when the recipe ends", dry))
        odds.append(odds_of("film gone when the recipe ends", film(task, known)[1].dry_time <= end))
    wanted = [s.end_resistivity_mohm_cm for s in task.recipe.steps if s.end_resistivity_mohm_cm]
    if wanted:
        drain = drain_mohm_cm(task, known)[-1]
        odds.append(odds_of(f"drain at {wanted[-1]:g} MΩ·cm after the rinse", drain >= wanted[-1]))
    return tuple(odds)


def _estimates(task: Task, known: Known, residuals: Array) -> tuple[Estimate, ...]:
    used = utilities(task, known)
    found = []
    if task.drying is not None:
        found.append(summary("hold-up left at the end", "g", residuals))
        moment = np.minimum(film(task, known)[1].dry_time, task.line.end_s)
        found.append(summary("film gone, from the start", "s", moment))
    if task.line.water.any():
        found.append(summary("drain after the rinse", "MOhm.cm", drain_mohm_cm(task, known)[-1]))
    found += [
        summary("water", "L", used["water_l"]),
        summary("nitrogen at 0 degC", "L", used["nitrogen_sl"]),
        summary("nitrogen", "kg", used["nitrogen_kg"]),
        summary("heat", "kWh", used["heat_kwh"]),
        summary("drive", "kWh", used["drive_kwh"]),
        summary("energy of the rotor at top speed", "J", used["kinetic_j"]),
    ]
    return (*found, *_mechanics(task))


def _mechanics(task: Task) -> tuple[Estimate, ...]:
    """Give stress, acceleration and tip speed at the top speed."""
    head = task.head
    speed, radius = task.recipe.top_speed_rpm * RAD_PER_S_PER_RPM, head.wafer_diameter_mm / 2000
    low, middle, high = (1e-6 * spin_stress(speed, radius, poisson=POISSON)[0]).tolist()
    edge = head.wafer_edge_radius_m
    force, tip = float(relative_centrifugal_force(edge, speed)), speed * edge
    return (
        Estimate(
            label="stress at the wafer's centre", unit="MPa", median=middle, low=low, high=high
        ),
        Estimate(
            label="acceleration at the wafer's edge", unit="g", median=force, low=force, high=force
        ),
        Estimate(label="speed of the wafer's edge", unit="m/s", median=tip, low=tip, high=tip),
    )


def _bands(task: Task, known: Known) -> tuple[Band, ...]:
    fine = Task(task.recipe, task.head, task.load, task.dry_g, fine=True)
    bands = []
    if fine.drying is not None:
        time, course = film(fine, known)
        bands.append(_band("film on a wetting wafer", "um", time, 1e6 * course.thickness))
        bands.append(_band("water held up", "g", *hold_up_g(fine, known)))
    if fine.line.water.any():
        drain = drain_mohm_cm(fine, known)
        wet = slice(0, int(np.flatnonzero(fine.line.water)[-1]) + 1)
        bands.append(_band("drain", "MOhm.cm", fine.line.time_s[wet], drain[wet]))
    return tuple(bands)


def _band(label: str, unit: str, time: Array, values: Array) -> Band:
    low, median, high = np.quantile(values, LEVELS, axis=1).round(6).tolist()
    return Band(
        label=label,
        unit=unit,
        time_s=tuple(time.round(3).tolist()),
        median=tuple(median),
        low=tuple(low),
        high=tuple(high),
    )


def task_of(model: HeadModel, recipe: Recipe, load: Load, dry_g: float) -> Task:
    """Put recipe, load and the model's head together.

    Parameters
    ----------
    model : HeadModel
        The head as known.
    recipe : Recipe
        The recipe.
    load : Load
        The load.
    dry_g : float
        Residual that counts as dry. [g]

    Returns
    -------
    Task
        What is to be predicted.

    Notes
    -----
    Never raises.
    """
    return Task(recipe, model.head, load, dry_g)
