"""Which recipes are worth a try: those that no other beats in time, dryness and cost at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.model.head_model import HeadModel
from spinproof.model.load import Load
from spinproof.model.prediction import Advice, Candidate
from spinproof.model.recipe import Recipe
from spinproof.model.software import SOFTWARE
from spinproof.predict.forecast import (
    calibrate_first,
    cautions_of,
    dry_time_of,
    influences_of,
    odds_of,
    summary,
)
from spinproof.predict.knowledge import draw
from spinproof.predict.least_squares import Array
from spinproof.predict.outcome import Known, Task, dry_moments, residuals_g, utilities

GOALS = ("shortest", "driest", "cheapest")
SCREEN_DRAWS, FINAL_DRAWS = 120, 2000
FIRST_TRIED, THEN_TRIED = 250, 200
"""Recipes tried at first, all over the envelope, and then near the first front. [1]"""
MOST_SHOWN = 12
"""Recipes of the front that are shown, spread over its process times. [1]"""


@dataclass(frozen=True)
class Prices:
    """What utilities cost, in one unit of account; the shop sets its own."""

    water_m3: float = 10.0
    nitrogen_kg: float = 0.3
    energy_kwh: float = 0.25
    unit: str = "units"
    assumed: bool = True
    """Whether the figures are ours and not the shop's."""


def advise(
    recipes: Sequence[Recipe],
    places: Array,
    model: HeadModel,
    load: Load,
    prices: Prices,
    *,
    dry_g: float,
    least_odds: float,
    seed: int,
) -> Advice:
    """Find the trade-off front of recipes.

    Parameters
    ----------
    recipes : sequence of Recipe
        Recipes inside the envelope, at least one, in an order that fills it evenly.
    places : ndarray
        Their places in the envelope's unit cube, a row for each. [1]
    model : HeadModel
        What is known of the head.
    load : Load
        The wafers.
    prices : Prices
        What utilities cost. [unit of account]
    dry_g : float
        Residual that counts as dry. [g]
    least_odds : float
        Probability of being dry below which a recipe is not worth showing. [1]
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    Advice
        Recipes by rising process time; the same inputs give the same front.

    Raises
    ------
    OutOfRangeError
        If a law does not hold for a recipe or a draw.

    Notes
    -----
    All recipes meet the same draws of the head, so that their differences are theirs. The search
    is a search: a better recipe between the points that were tried is not excluded.
    """
    known = draw(model, np.random.default_rng(seed), FINAL_DRAWS)
    few = {name: values[:SCREEN_DRAWS] for name, values in known.items()}
    tasks, goals = _searched(recipes, places, model, load, few, prices, dry_g)
    likely = goals[:, 1] <= 1 - least_odds
    worth = np.flatnonzero(likely if likely.any() else np.isfinite(goals[:, 1]))
    kept = _spread([tasks[i] for i in worth[nondominated(goals[worth])]])
    found = [_candidate(task, known, prices) for task in kept]
    longest = max(kept, key=lambda task: task.line.end_s)
    influences = influences_of(longest, model, seed)
    return Advice(
        head=model.head.designation,
        wafers=load.wafer_count,
        tried=len(tasks),
        draws=FINAL_DRAWS,
        seed=seed,
        simulated=model.simulated,
        cost_unit=prices.unit,
        front=_named(found),
        calibrate_first=calibrate_first(influences),
        cautions=(
            *(() if likely.any() else (f"no recipe is dry with odds of {least_odds:g} or more",)),
            *_price_caution(prices),
            *cautions_of(longest, model),
        ),
        software=SOFTWARE,
    )


def _searched(
    recipes: Sequence[Recipe],
    places: Array,
    model: HeadModel,
    load: Load,
    few: Known,
    prices: Prices,
    dry_g: float,
) -> tuple[list[Task], Array]:
    """Try recipes all over the envelope, then those near the front that shows."""

    def tried(rows: NDArray[np.int64]) -> tuple[list[Task], Array]:
        tasks = [Task(recipes[i], model.head, load, dry_g) for i in rows]
        return tasks, np.array([_goals(task, few, prices) for task in tasks]).reshape(-1, 3)

    first = np.arange(min(FIRST_TRIED, len(recipes)))
    rest = np.arange(first.size, len(recipes))
    tasks, goals = tried(first)
    front = places[first[nondominated(goals)]]
    away = np.linalg.norm(places[rest, None, :] - front[None], axis=2).min(axis=1, initial=9.0)
    more, found = tried(rest[np.argsort(away, kind="stable")[:THEN_TRIED]])
    return tasks + more, np.concatenate([goals, found])


def nondominated(goals: Array) -> NDArray[np.bool_]:
    """Tell which rows no other row beats.

    Parameters
    ----------
    goals : ndarray
        A row for each recipe, a column for each goal; less is better. [any]

    Returns
    -------
    ndarray of bool
        False where some other row is nowhere worse and somewhere better; of equal rows the first
        stays.

    Notes
    -----
    Never raises.

    Examples
    --------
    >>> nondominated(np.array([[1.0, 3.0], [2.0, 2.0], [2.0, 4.0], [1.0, 3.0]])).tolist()
    [True, True, False, False]
    """
    kept = np.ones(len(goals), dtype=np.bool_)
    for i, row in enumerate(goals):
        no_worse = (goals <= row).all(axis=1)
        better = (goals < row).any(axis=1)
        equal_before = (goals[:i] == row).all(axis=1).any()
        kept[i] = not (no_worse & better).any() and not equal_before
    return kept


def _goals(task: Task, known: Known, prices: Prices) -> list[float]:
    """Give process time, what is likely to be left, and cost: less is better."""
    left = residuals_g(task, known)
    wet = float(np.mean(left > task.dry_g))
    return [task.line.end_s, wet, float(np.median(_cost(task, known, prices)))]


def _cost(task: Task, known: Known, prices: Prices) -> Array:
    used = utilities(task, known)
    return (
        1e-3 * prices.water_m3 * used["water_l"]
        + prices.nitrogen_kg * used["nitrogen_kg"]
        + prices.energy_kwh * (used["heat_kwh"] + used["drive_kwh"])
    )


def _spread(tasks: list[Task]) -> list[Task]:
    """Keep a dozen, spread evenly over the order of their process times."""
    ordered = sorted(tasks, key=lambda task: task.line.end_s)
    places = np.unique(np.linspace(0, len(ordered) - 1, MOST_SHOWN).round().astype(int))
    return [ordered[i] for i in places]


def _candidate(task: Task, known: Known, prices: Prices) -> Candidate:
    left = residuals_g(task, known)
    return Candidate(
        recipe=task.recipe,
        best_at=(),
        process_time_s=task.line.end_s,
        dry=odds_of(f"dry to {task.dry_g:g} g when the recipe ends", left <= task.dry_g),
        residual_g=summary("hold-up left at the end", "g", left),
        dry_time=dry_time_of(dry_moments(task, known), task),
        cost=summary("utilities", prices.unit, _cost(task, known, prices)),
    )


def _named(found: list[Candidate]) -> tuple[Candidate, ...]:
    """Say which recipe is best at which goal; of equals the shorter one."""
    best = (
        min(found, key=lambda c: c.process_time_s),
        min(found, key=lambda c: (-c.dry.probability, c.process_time_s)),
        min(found, key=lambda c: (c.cost.median, c.process_time_s)),
    )
    return tuple(
        each.model_copy(
            update={
                "best_at": tuple(g for g, b in zip(GOALS, best, strict=True) if b is each),
            }
        )
        for each in found
    )


def _price_caution(prices: Prices) -> tuple[str, ...]:
    if not prices.assumed:
        return ()
    return (
        f"cost counts {prices.water_m3:g} a m³ of water, {prices.nitrogen_kg:g} a kg of nitrogen "
        f"and {prices.energy_kwh:g} a kWh: assumed, set your own",
    )
