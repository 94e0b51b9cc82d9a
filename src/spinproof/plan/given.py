"""Runs that a plan holds whatever else: the customer's, a gentle ladder, corners."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinproof.model.errors import PlanError
from spinproof.model.head import Envelope
from spinproof.model.load import Load
from spinproof.model.plan import Asked, Cell
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.plan.feasible import FeasibleSet
from spinproof.plan.levels import balanced_choice
from spinproof.plan.loads import load_for
from spinproof.plan.region import (
    FAST,
    FAST_S,
    FINAL,
    FINAL_S,
    PURGE_S,
    RAMP,
    RINSE,
    RINSE_S,
    Region,
)

CORNERS = ((0, 0, 1), (1, 0, 0), (0, 1, 0), (1, 1, 1), (0, 0, 0), (1, 0, 1), (0, 1, 1), (1, 1, 0))
"""Rinse speed, fast dry speed and heater, low or high; the first four are a half fraction."""

Row = NDArray[np.float64]


@dataclass(frozen=True)
class Draft:
    """A run before it has its place."""

    cell: Cell
    recipe: Recipe
    load: Load
    pinned: bool = False

    @property
    def heated(self) -> bool:
        """Whether the heater is on in a step."""
        return is_heated(self.recipe)


def is_heated(recipe: Recipe) -> bool:
    """Whether the heater is on in a step of a recipe."""
    return any(step.heater_c is not None for step in recipe.steps)


def given_places(asked: Asked, feasible: FeasibleSet, seed: int) -> list[Draft | None]:
    """Lay out a plan's places: ladder first, the customer's runs evenly, corners among the rest.

    Parameters
    ----------
    asked : Asked
        What the plan has to hold.
    feasible : FeasibleSet
        What the envelope leaves.
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    list
        A draft for each run, or None where a run is yet to be chosen.

    Raises
    ------
    PlanError
        If a corner is not feasible with any times.
    """
    first, total = asked.ladder_runs, asked.total_runs
    places: list[Draft | None] = [None] * total
    places[:first] = _ladder(asked, feasible)
    gaps = max(asked.customer_runs - 1, 1)
    for i in range(asked.customer_runs):
        recipe = asked.customer[i % len(asked.customer)]
        at = first + round(i * (total - first - 1) / gaps)
        places[at] = Draft(Cell.CUSTOMER, recipe, asked.customer_load)
    free = [i for i, draft in enumerate(places) if draft is None]
    chosen = np.random.default_rng(seed).permutation(free)
    for i, corner in zip(chosen, _corners(asked, feasible.region, seed), strict=False):
        places[int(i)] = corner
    return places


def _ladder(asked: Asked, feasible: FeasibleSet) -> list[Draft | None]:
    """Give runs from gentle to harsh: speeds, ramp and load rise together, heat comes last."""
    region, envelope = feasible.region, feasible.region.head.envelope
    target = np.full((asked.ladder_runs, len(region.low)), 0.5)
    rise = (np.arange(asked.ladder_runs) + 0.5) / max(asked.ladder_runs, 1)
    target[:, [RINSE, FAST, FINAL, RAMP]] = rise[:, np.newaxis]
    near = [int(((feasible.candidate_unit - row) ** 2).sum(axis=1).argmin()) for row in target]
    points = feasible.candidates[near]
    points = points[np.argsort(points[:, FAST], kind="stable")]
    counts = sorted(envelope.wafer_counts)
    return [
        Draft(
            Cell.LADDER,
            recipe_at(f"ladder {i + 1}", point, envelope, heated=rise[i] > 0.6),
            load_for(counts[int(rise[i] * len(counts))], region.head, asked.customer_load),
        )
        for i, point in enumerate(points)
    ]


def rung_nearby(rung: Draft, feasible: FeasibleSet) -> Draft:
    """Give a rung of the ladder at the nearest feasible recipe.

    Parameters
    ----------
    rung : Draft
        The rung; its recipe lies in the envelope's box.
    feasible : FeasibleSet
        What the envelope leaves.

    Returns
    -------
    Draft
        The same rung with another recipe.
    """
    region, point = feasible.region, feasible.region.point_of(rung.recipe)
    if point is None:
        return rung
    apart = ((feasible.candidate_unit - region.to_unit(point)) ** 2).sum(axis=1)
    nearest = feasible.candidates[int(apart.argmin())]
    envelope = region.head.envelope
    recipe = recipe_at(rung.recipe.name, nearest, envelope, heated=rung.heated)
    return replace(rung, recipe=recipe)


def _corners(asked: Asked, region: Region, seed: int) -> list[Draft]:
    envelope, many = region.head.envelope, asked.corner_runs
    counts = balanced_choice(envelope.wafer_counts, [], many, seed)
    return [
        Draft(
            Cell.CORNER,
            recipe_at(
                f"corner {i + 1}",
                _corner_point(region, rinse=rinse, fast=fast),
                envelope,
                heated=bool(heated),
            ),
            load_for(counts[i], region.head, asked.customer_load),
        )
        for i, (rinse, fast, heated) in enumerate(CORNERS[:many])
    ]


def _corner_point(region: Region, *, rinse: int, fast: int) -> Row:
    # of all ways to shorten the times until the corner is feasible, the one that works drive and
    # bearings hardest
    share = np.linspace(0.0, 1.0, 21)
    fast_s, others = (grid.ravel() for grid in np.meshgrid(share, share, indexing="ij"))
    unit = np.full((fast_s.size, 8), 0.5)
    unit[:, RINSE], unit[:, FAST], unit[:, FAST_S] = rinse, fast, fast_s
    unit[:, [RINSE_S, PURGE_S, FINAL_S]] = others[:, np.newaxis]
    points = region.from_unit(unit)
    below = points[:, FAST] - region.head.envelope.step_down_rpm
    points[:, FINAL] = np.clip(points[:, FINAL], region.low[FINAL], below.clip(region.low[FINAL]))
    holds = region.holds(points)
    if not holds.any():
        speeds = f"{points[0, RINSE]:g} rpm in the rinse and {points[0, FAST]:g} rpm in the dry"
        raise PlanError(
            f"no times make the corner feasible that has {speeds}: {region.collisions(points)}",
            where=f"envelope of head {region.head.designation}",
            mend="Narrow the spans of speed, relax the limits, or plan without corners.",
        )
    feasible = points[holds]
    return np.asarray(feasible[np.argmax(region.work(feasible))])


def recipe_at(name: str, point: Row, envelope: Envelope, *, heated: bool) -> Recipe:
    """Write a point of the region as a recipe; nitrogen dries, and heat is for dry steps only.

    Parameters
    ----------
    name : str
        Name of the recipe.
    point : ndarray
        The eight factors, in their own units.
    envelope : Envelope
        Gives the set-point of the heater.
    heated : bool
        Whether the dry steps are heated.

    Returns
    -------
    Recipe
        Rinse, purge, fast dry and final dry.
    """

    def step(words: str, kind: StepKind, seconds: int, speed: int) -> Step:
        return Step(
            name=words,
            kind=kind,
            duration_s=float(point[seconds]),
            speed_rpm=float(point[speed]),
            ramp_rpm_per_s=float(point[RAMP]),
            timer_basis=TimerBasis.FROM_COMMAND,
            water=kind is StepKind.RINSE,
            nitrogen=kind is not StepKind.RINSE,
            heater_c=envelope.heater_c if heated and kind is StepKind.DRY else None,
        )

    return Recipe(
        name=name,
        steps=(
            step("rinse", StepKind.RINSE, RINSE_S, RINSE),
            step("purge", StepKind.PURGE, PURGE_S, RINSE),
            step("fast dry", StepKind.DRY, FAST_S, FAST),
            step("final dry", StepKind.DRY, FINAL_S, FINAL),
        ),
    )
