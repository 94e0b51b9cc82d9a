"""A plan's points and how its levels meet, as plain values for plots and tables."""

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from spinproof.model.head import HeadSpec
from spinproof.model.plan import Plan
from spinproof.model.plan_quality import CoverageView, PairCount, PlanPoint
from spinproof.plan.completing import level_rows, possible_pairs
from spinproof.plan.given import is_heated
from spinproof.plan.quality import feasible_of, level_words, nearest_distances, unit_points
from spinproof.plan.region import FACTORS

Floats = NDArray[np.float64]


def coverage(plan: Plan, head: HeadSpec) -> CoverageView:
    """Show where the runs of a plan lie, which levels meet, and what is far from every run.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    CoverageView
        Points, counts of pairs, and distances of the feasible set to the runs.
    """
    feasible = feasible_of(plan, head)
    region, counts = feasible.region, sorted(set(head.envelope.wafer_counts))
    words = level_words(counts)
    unit = unit_points(plan.runs, feasible)
    fill = cdist(feasible.test_unit, unit).min(axis=1, initial=np.inf)
    return CoverageView(
        factors=tuple(words),
        lows=tuple(map(float, region.low)),
        highs=tuple(map(float, region.high)),
        levels=tuple(words.values()),
        points=plan_points(plan, head),
        pairs=_pair_counts(level_rows(feasible, plan.runs, counts), plan, head),
        fill_distances=tuple(float(q) for q in np.quantile(fill, np.linspace(0.0, 1.0, 21))),
    )


def plan_points(plan: Plan, head: HeadSpec) -> tuple[PlanPoint, ...]:
    """Give the runs of a plan that lie in the envelope's box, in their order.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    tuple of PlanPoint
        Unit coordinates, heater, wafers and the distance to the nearest other recipe.
    """
    feasible = feasible_of(plan, head)
    unit = unit_points(plan.runs, feasible)
    nearest = nearest_distances(cdist(unit, unit))
    found = list[PlanPoint]()
    for run in plan.runs:
        point = feasible.region.point_of(run.recipe)
        if point is None:
            continue
        own = feasible.region.to_unit(point)
        at = int(np.abs(unit - own).sum(axis=1).argmin())
        found.append(
            PlanPoint(
                number=run.number,
                cell=run.cell,
                unit=tuple(map(float, own)),
                heated=is_heated(run.recipe),
                wafers=run.load.wafer_count,
                nearest=float(nearest[at]),
            )
        )
    return tuple(found)


def _pair_counts(levels: NDArray[np.int64], plan: Plan, head: HeadSpec) -> tuple[PairCount, ...]:
    feasible, counts = feasible_of(plan, head), sorted(set(head.envelope.wafer_counts))
    possible, found = possible_pairs(feasible, len(counts)), list[PairCount]()
    words = list(level_words(counts).items())
    for (g, (second, its)), (f, (first, own)) in itertools.combinations(enumerate(words), 2):
        table = np.zeros((len(its), len(own)), dtype=np.int64)
        np.add.at(table, (levels[:, g], levels[:, f]), 1)
        exists = possible[f, g, : len(own), : len(its)].T | (table > 0)
        found.append(
            PairCount(
                second,
                first,
                tuple(tuple(int(n) for n in row) for row in table),
                tuple(tuple(bool(n) for n in row) for row in exists),
            )
        )
    return tuple(found)


def unit_table(plan: Plan, head: HeadSpec) -> str:
    """Write the different recipes of a plan as rows of the unit cube.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    str
        CSV: a column for a factor, numbers that read back exactly.
    """
    rows = [[*FACTORS], *unit_points(plan.runs, feasible_of(plan, head)).tolist()]
    return "".join(",".join(map(str, row)) + "\n" for row in rows)


def level_table(plan: Plan, head: HeadSpec) -> str:
    """Write the runs of a plan in their order, with factors in their own units and their thirds.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    str
        CSV: run, kind, shift, factors, heater, wafers, and the third of each factor.
    """
    feasible = feasible_of(plan, head)
    head_row = ["run", "cell", "block", *FACTORS, "heater", "wafers"]
    lines = [[*head_row, *(f"{name}_third" for name in FACTORS)]]
    for run in plan.runs:
        point = feasible.region.point_of(run.recipe)
        values, thirds = [""] * len(FACTORS), [""] * len(FACTORS)
        if point is not None:
            values = [f"{value:g}" for value in point]
            levels = feasible.levels(feasible.region.to_unit(point[np.newaxis]))[0]
            thirds = [str(level + 1) for level in levels]
        heater = str(int(is_heated(run.recipe)))
        own = [str(run.number), run.cell.value, str(run.block)]
        lines.append([*own, *values, heater, str(run.load.wafer_count), *thirds])
    return "".join(",".join(line) + "\n" for line in lines)
