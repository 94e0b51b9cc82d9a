"""Make a burn-in plan: the customer's recipes, corners of the envelope, and runs inside it."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinproof.files.canonical import digest_of
from spinproof.model.errors import PlanError
from spinproof.model.head import Envelope, HeadSpec, RotorAxis
from spinproof.model.load import Load
from spinproof.model.plan import Cell, Plan, PlannedRun
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.model.software import SOFTWARE
from spinproof.plan.loads import lay_out, unbalance_note
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
    mean_squared_speed,
)
from spinproof.stats.demonstration import reliability_lower_bound

CONFIDENCE = 0.95
RESTART_RULE = (
    "A relevant failure, or any change of the head's configuration, starts the count again: runs "
    "that counted until then become void, and stay on record."
)
CORNERS = ((0, 0, 1), (1, 0, 0), (0, 1, 0), (1, 1, 1), (0, 0, 0), (1, 0, 1), (0, 1, 1), (1, 1, 0))
"""Rinse speed, fast dry speed and heater, low or high; the first four are a half fraction."""

Row = NDArray[np.float64]
Draft = tuple[Cell, Recipe, Load]


def make_plan(
    name: str,
    head: HeadSpec,
    customer: Sequence[Recipe],
    customer_runs: int,
    corner_runs: int,
    total_runs: int,
    seed: int,
    customer_load: Load,
) -> Plan:
    """Plan a burn-in inside a head's envelope.

    Parameters
    ----------
    name : str
        Name of the plan.
    head : HeadSpec
        The head, with its envelope.
    customer : sequence of Recipe
        The customer's recipes; they take turns.
    customer_runs : int
        Runs of the customer's recipes: the first, the last, and evenly between. [1]
    corner_runs : int
        Runs at corners of rinse speed, fast dry speed and heater, up to 8. [1]
    total_runs : int
        All runs; scrambled Sobol points inside the envelope fill them up. [1]
    seed : int
        Seed of every random draw; the same inputs give the same plan. [1]
    customer_load : Load
        Load of the customer's recipes; its wafers serve for the other loads too.

    Returns
    -------
    Plan
        The ordered runs and the claim they would support.

    Raises
    ------
    PlanError
        If the numbers of runs do not fit one another, or the envelope leaves no such plan.
    """
    fill_runs = total_runs - customer_runs - corner_runs
    _check_numbers(head, len(customer), customer_runs, corner_runs, fill_runs)
    _check_head(head, customer, customer_load)
    region, rng = Region(head), np.random.default_rng(seed)
    points, share = region.sobol(seed)
    if len(points) < max(fill_runs, 1):
        raise PlanError(
            f"the constraints leave {len(points)} feasible points of the envelope, and "
            f"{fill_runs} are needed",
            where=f"envelope of head {head.designation}",
            mend="Widen the spans, or relax process_time_limit_s, duty_limit_rpm2 or step_up_rpm; "
            "each step must also reach its speed and hold it.",
        )
    rest = _corners(region, corner_runs, customer_load, rng)
    rest += _fill(region, points[:fill_runs], customer_load, rng)
    drafts = _spread(
        [(Cell.CUSTOMER, customer[i % len(customer)], customer_load) for i in range(customer_runs)],
        [rest[i] for i in rng.permutation(len(rest))],
    )
    return Plan(
        name=name,
        head=head.designation,
        head_sha256=digest_of(head.to_document()),
        seed=seed,
        software=SOFTWARE,
        feasible_share=share,
        runs=tuple(_planned(i + 1, draft, head) for i, draft in enumerate(drafts)),
        confidence=CONFIDENCE,
        reliability_if_clean=reliability_lower_bound(total_runs, 0, CONFIDENCE),
        restart_rule=RESTART_RULE,
    )


def _check_numbers(
    head: HeadSpec, recipes: int, customer_runs: int, corner_runs: int, fill_runs: int
) -> None:
    problem = None
    if min(customer_runs, corner_runs) < 0:
        problem = "numbers of runs cannot be negative"
    elif fill_runs < 0 or customer_runs + corner_runs + fill_runs < 1:
        problem = (
            f"too few runs: {customer_runs} of the customer's recipes and {corner_runs} corners "
            f"do not fit into {customer_runs + corner_runs + fill_runs}"
        )
    elif corner_runs > len(CORNERS):
        problem = f"there are {len(CORNERS)} corners, not {corner_runs}"
    elif customer_runs and not recipes:
        problem = "runs of the customer's recipes are asked for, and there is no such recipe"
    elif customer_runs < recipes:
        problem = f"{customer_runs} runs cannot hold {recipes} recipes of the customer"
    if problem:
        raise PlanError(
            problem,
            where=f"plan for head {head.designation}",
            mend="Ask for more runs in all, or for fewer of one kind.",
        )


def _check_head(head: HeadSpec, customer: Sequence[Recipe], load: Load) -> None:
    envelope = head.envelope
    speeds = [envelope.fast_dry_rpm.high, *(recipe.top_speed_rpm for recipe in customer)]
    problem = None
    if head.axis is RotorAxis.OFF_AXIS:
        problem = "loads of an off-axis head must mirror one another, which is not planned here"
    elif max(speeds) > head.top_speed_rpm:
        problem = f"{max(speeds):g} rpm lies above the head's top speed, {head.top_speed_rpm:g} rpm"
    elif max((*envelope.wafer_counts, *load.slots)) > head.slots:
        problem = f"a load needs more than the head's {head.slots} slots"
    elif max(envelope.wafer_counts) > 0 and load.wafer_mass_g <= 0:
        problem = "the load does not say what a wafer weighs"
    else:
        problem = next(filter(None, (_strain(recipe, envelope) for recipe in customer)), None)
    if problem:
        raise PlanError(
            problem,
            where=f"plan for head {head.designation}",
            mend="Correct the head's envelope, the recipe or the load.",
        )


def _strain(recipe: Recipe, envelope: Envelope) -> str | None:
    """Say what the head does not bear in a recipe, if anything."""
    time, duty = recipe.process_time_s(), mean_squared_speed(recipe)
    if time > envelope.process_time_limit_s:
        return (
            f"{recipe.name} takes {time:g} s, and the head's limit is "
            f"{envelope.process_time_limit_s:g} s"
        )
    if duty > envelope.duty_limit_rpm2:
        return (
            f"{recipe.name} has a mean squared speed of {duty:.4g} rpm2, and the head's limit is "
            f"{envelope.duty_limit_rpm2:.4g} rpm2"
        )
    return None


def _corners(region: Region, count: int, load: Load, rng: np.random.Generator) -> list[Draft]:
    counts = _balanced(region.head.envelope.wafer_counts, count, rng)
    return [
        (
            Cell.CORNER,
            _recipe(
                f"corner {i + 1}",
                _corner_point(region, rinse=rinse, fast=fast),
                region.head.envelope,
                heated=bool(heated),
            ),
            lay_out(counts[i], region.head.slots, load),
        )
        for i, (rinse, fast, heated) in enumerate(CORNERS[:count])
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
            f"no times make the corner feasible that has {speeds}",
            where=f"envelope of head {region.head.designation}",
            mend="Narrow the spans of speed, relax the limits, or plan without corners.",
        )
    feasible = points[holds]
    return np.asarray(feasible[np.argmax(region.work(feasible))])


def _fill(
    region: Region, points: NDArray[np.float64], load: Load, rng: np.random.Generator
) -> list[Draft]:
    envelope = region.head.envelope
    levels = list(itertools.product((False, True), envelope.wafer_counts))
    chosen = _balanced(range(len(levels)), len(points), rng)
    return [
        (
            Cell.FILL,
            _recipe(f"inside {i + 1}", point, envelope, heated=levels[chosen[i]][0]),
            lay_out(levels[chosen[i]][1], region.head.slots, load),
        )
        for i, point in enumerate(points)
    ]


def _balanced(levels: Sequence[int], count: int, rng: np.random.Generator) -> list[int]:
    """Give levels in random order, each as often as the others or once more."""
    whole, rest = divmod(count, len(levels))
    chosen = [*levels] * whole + [int(x) for x in rng.permutation(levels)[:rest]]
    return [chosen[i] for i in rng.permutation(count)]


def _spread(customer: list[Draft], rest: list[Draft]) -> list[Draft]:
    """Put the customer's runs first, last and evenly between the rest."""
    total, places = len(customer) + len(rest), set[int]()
    if customer:
        gaps = max(len(customer) - 1, 1)
        places = {round(i * (total - 1) / gaps) for i in range(len(customer))}
    first, second = iter(customer), iter(rest)
    return [next(first) if i in places else next(second) for i in range(total)]


def _planned(number: int, draft: Draft, head: HeadSpec) -> PlannedRun:
    cell, recipe, load = draft
    note = unbalance_note(recipe, load, head)
    return PlannedRun(number=number, cell=cell, recipe=recipe, load=load, note=note)


def _recipe(name: str, point: Row, envelope: Envelope, *, heated: bool) -> Recipe:
    """Write a point of the region as a recipe; nitrogen dries, and heat is for dry steps only."""

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
