"""Complete a plan around the runs that it has: points, heat and loads, order, pauses."""

from collections.abc import Sequence
from itertools import count, product

import numpy as np
from numpy.typing import NDArray

from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec
from spinproof.model.plan import Asked, Cell, PlannedRun
from spinproof.plan.feasible import FeasibleSet
from spinproof.plan.filling import Spending, fill
from spinproof.plan.given import Draft, recipe_at
from spinproof.plan.levels import balanced_choice, match_levels
from spinproof.plan.loads import load_for, unbalance_note
from spinproof.plan.order import search_order
from spinproof.plan.pacing import along, drive_strain, paced, use_of
from spinproof.plan.region import FACTORS, FAST_S, FINAL_S, PURGE_S, RINSE_S

HARD_SHARE = 0.9
"""Runs whose strain of the drive lies above this quantile keep apart. Common practice. [1]"""

Floats = NDArray[np.float64]


def complete(
    head: HeadSpec,
    asked: Asked,
    feasible: FeasibleSet,
    places: Sequence[Draft | None],
    movable: Sequence[int],
    seed: int,
) -> tuple[PlannedRun, ...]:
    """Choose the runs that are missing in a plan, and order those that may move.

    Parameters
    ----------
    head : HeadSpec
        The head, with its envelope.
    asked : Asked
        Load, budgets and what else the plan was asked to hold.
    feasible : FeasibleSet
        What the envelope leaves.
    places : sequence of Draft or None
        The runs in order; None where one is to be chosen.
    movable : sequence of int
        Places whose runs may change places, counted from 0. [1]
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    tuple of PlannedRun
        The ordered runs.

    Raises
    ------
    PlanError
        If the budgets cannot be met, or a run is too much for a cold drive.
    """
    given = [draft for draft in places if draft is not None]
    known = [feasible.region.point_of(draft.recipe) for draft in given]
    points = _rows([point for point in known if point is not None])
    many = len(places) - len(given)
    spendings = _spendings(head, asked, given, many)
    new = fill(feasible, points, many, spendings, seed=seed)
    _require_budgets(head, spendings, new, feasible)
    chosen = iter(_mixed(head, asked, feasible, given, new, seed))
    drafts = [next(chosen) if draft is None else draft for draft in places]
    drafts = _ordered(head, asked, feasible, drafts, movable, seed)
    runs = [
        PlannedRun(
            number=i + 1,
            cell=draft.cell,
            recipe=draft.recipe,
            load=draft.load,
            pinned=draft.pinned,
            note=unbalance_note(draft.recipe, draft.load, head),
        )
        for i, draft in enumerate(drafts)
    ]
    done = paced(runs, head, asked.budgets)
    _require_time(head, asked, done)
    return done


def randomised(cell: Cell) -> bool:
    """Whether runs of a kind stand in random order."""
    return cell in {Cell.CORNER, Cell.FILL}


def factor_rows(feasible: FeasibleSet, runs: Sequence[Draft | PlannedRun]) -> Floats:
    """Give factors, heater and number of wafers of runs, a row for a run.

    Parameters
    ----------
    feasible : FeasibleSet
        What the envelope leaves.
    runs : sequence of Draft or PlannedRun
        The runs in order.

    Returns
    -------
    ndarray
        NaN in the rows of runs that are not randomised.
    """
    rows = np.full((len(runs), len(FACTORS) + 2), np.nan)
    for i, run in enumerate(runs):
        point = feasible.region.point_of(run.recipe) if randomised(run.cell) else None
        if point is not None:
            heated = any(step.heater_c is not None for step in run.recipe.steps)
            rows[i] = [*point, heated, run.load.wafer_count]
    return rows


def _rows(points: Sequence[Floats]) -> Floats:
    return np.array(points, dtype=np.float64).reshape(len(points), len(FACTORS))


def _spendings(head: HeadSpec, asked: Asked, given: Sequence[Draft], many: int) -> list[Spending]:
    """Give what each budget leaves for the runs to choose, pauses taken off."""
    budgets, uses = asked.budgets, [use_of(draft.recipe, head) for draft in given]
    pauses = budgets.turnaround_s * (len(given) + many - 1)
    found = list[Spending]()

    def add(name: str, budget: float | None, spent: float, seconds: list[int], rate: float) -> None:
        if budget is not None:
            of_point = np.zeros(len(FACTORS))
            of_point[seconds] = rate
            found.append(Spending(name, of_point, budget - spent))

    time = [RINSE_S, PURGE_S, FAST_S, FINAL_S]
    spent_h = (pauses + sum(use.time_s for use in uses)) / 3600
    add("time_h", budgets.time_h, spent_h, time, 1 / 3600)
    spent_l = sum(use.water_l for use in uses)
    add("water_l", budgets.water_l, spent_l, [RINSE_S], head.di_flow_lpm / 60)
    spent_m3 = sum(use.nitrogen_m3 for use in uses)
    add("nitrogen_m3", budgets.nitrogen_m3, spent_m3, time[1:], head.n2_flow_slm / 60_000)
    return found


def _require_budgets(
    head: HeadSpec, spendings: Sequence[Spending], new: Floats, feasible: FeasibleSet
) -> None:
    """See that the chosen runs keep the budgets.

    Raises
    ------
    PlanError
        If they do not; it says what they would take at the very least.
    """
    for spending in spendings:
        if (new @ spending.of_point).sum() <= spending.left * (1 + 1e-9):
            continue
        least = len(new) * float((feasible.candidates @ spending.of_point).min())
        raise PlanError(
            f"the budget {spending.name} leaves {max(spending.left, 0.0):.4g} for {len(new)} runs "
            f"inside the envelope, which take {least:.4g} at the very least",
            where=f"plan for head {head.designation}",
            mend="Raise the budget or plan fewer runs; a spread of runs needs more than the least.",
        )


def _require_time(head: HeadSpec, asked: Asked, runs: Sequence[PlannedRun]) -> None:
    """See that the pauses to cool fit into the budget of time too.

    Raises
    ------
    PlanError
        If they do not.
    """
    limit = asked.budgets.time_h
    if limit is None:
        return
    needed = along(runs, head, asked.budgets)[-1].end_s / 3600
    if needed > limit * (1 + 1e-9):
        raise PlanError(
            f"the runs take {needed:.2f} h with the pauses that the drive needs to cool, and the "
            f"budget time_h is {limit:g} h",
            where=f"plan for head {head.designation}",
            mend="Raise the budget or the thermal ceiling, or plan fewer runs.",
        )


def _mixed(
    head: HeadSpec,
    asked: Asked,
    feasible: FeasibleSet,
    given: Sequence[Draft],
    points: Floats,
    seed: int,
) -> list[Draft]:
    """Give the chosen points heater and load: balanced, every pair with the thirds of the rest."""
    counts = sorted(set(head.envelope.wafer_counts))
    options = list(product((False, True), counts))
    used = [
        options.index((draft.heated, draft.load.wafer_count))
        for draft in given
        if draft.cell is Cell.FILL
    ]
    chosen = balanced_choice(range(len(options)), used, len(points), seed)
    deals = np.array([[*divmod(i, len(counts))] for i in chosen], dtype=np.int64).reshape(-1, 2)
    free = np.hstack([feasible.levels(feasible.region.to_unit(points)), deals])
    stay = level_rows(feasible, given, counts)
    possible = possible_pairs(feasible, len(counts))
    dealt = match_levels(stay, free, 2, possible, seed)[:, -2:]
    taken = {draft.recipe.name for draft in given}
    names = (name for i in count(1) if (name := f"inside {i}") not in taken)
    return [
        Draft(
            Cell.FILL,
            recipe_at(next(names), point, head.envelope, heated=bool(heated)),
            load_for(counts[wafers], head, asked.customer_load),
        )
        for point, (heated, wafers) in zip(points, dealt, strict=True)
    ]


def level_rows(
    feasible: FeasibleSet, runs: Sequence[Draft | PlannedRun], counts: Sequence[int]
) -> NDArray[np.int64]:
    """Give levels of factors, heater and load of those runs that lie in the envelope's box.

    Parameters
    ----------
    feasible : FeasibleSet
        What the envelope leaves.
    runs : sequence of Draft or PlannedRun
        Any runs.
    counts : sequence of int
        Numbers of wafers of the envelope, in rising order. [1]

    Returns
    -------
    ndarray
        A row for each run of which the levels are known. [1]
    """
    rows = list[list[int]]()
    for run in runs:
        point = feasible.region.point_of(run.recipe)
        if point is None or run.load.wafer_count not in counts:
            continue
        levels = feasible.levels(feasible.region.to_unit(point[np.newaxis]))[0]
        heated = any(step.heater_c is not None for step in run.recipe.steps)
        rows.append([*map(int, levels), int(heated), counts.index(run.load.wafer_count)])
    return np.array(rows, dtype=np.int64).reshape(len(rows), len(FACTORS) + 2)


def possible_pairs(feasible: FeasibleSet, loads: int) -> NDArray[np.bool_]:
    """Tell which pairs of levels exist, with heater and load behind the factors.

    Parameters
    ----------
    feasible : FeasibleSet
        What the envelope leaves.
    loads : int
        How many numbers of wafers there are. [1]

    Returns
    -------
    ndarray
        Truth by factor, factor before it, and their levels.
    """
    factors, size = len(FACTORS), max(3, loads)
    possible = np.zeros((factors + 2, factors + 2, size, size), dtype=np.bool_)
    possible[:factors, :factors, :3, :3] = feasible.pairs()
    levels = feasible.levels(np.concatenate([feasible.candidate_unit, feasible.test_unit]))
    for f in range(factors):
        exists = np.isin(np.arange(3), levels[:, f])
        possible[factors, f, :2, :3] = exists
        possible[factors + 1, f, :loads, :3] = exists
    possible[factors + 1, factors, :loads, :2] = True
    return possible


def _ordered(
    head: HeadSpec,
    asked: Asked,
    feasible: FeasibleSet,
    drafts: Sequence[Draft],
    movable: Sequence[int],
    seed: int,
) -> list[Draft]:
    strain = np.array([drive_strain(draft.recipe, head) for draft in drafts])
    hard = strain > np.quantile(strain, HARD_SHARE)
    cycle = asked.budgets.turnaround_s + np.mean([d.recipe.process_time_s() for d in drafts])
    apart = int(np.ceil(asked.budgets.thermal_time_constant_s / cycle))
    values = factor_rows(feasible, drafts)
    order = search_order(values, hard, apart, np.array(movable, dtype=np.int64), seed)
    return [drafts[i] for i in order]
