"""Runs that fill a feasible set: chosen around those that are given, then moved a little."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.plan.exchange import Pool, choose, improve, mean_distances
from spinproof.plan.feasible import FeasibleSet

Floats = NDArray[np.float64]

REFERENCE = 4096
"""Candidates that stand for the whole feasible set during the search."""
FEWEST, FOR_EACH = 1024, 300
"""Candidates to choose from: at least, and for each run to choose."""
MOVES = 4000
"""Exchanges to try for each run to choose."""
ROUNDS, NEARBY, REACH = 6, 20, 0.1
"""Rounds of small moves, places to try a run and round, and first reach in the unit cube."""


@dataclass(frozen=True)
class Spending:
    """What a run uses up of one budget, as an affine function of its point.

    Attributes
    ----------
    name : str
        What is budgeted, with its unit.
    of_point : ndarray
        Weight of each factor, in the factors' own units.
    left : float
        What the given runs leave of the budget.
    """

    name: str
    of_point: Floats
    left: float


def fill(
    feasible: FeasibleSet,
    given: Floats,
    count: int,
    spendings: Sequence[Spending],
    *,
    seed: int,
) -> Floats:
    """Choose points of a feasible set that fill it around given points.

    Parameters
    ----------
    feasible : FeasibleSet
        What the envelope leaves.
    given : ndarray
        Points that the plan has already, in the factors' own units.
    count : int
        How many to choose. [1]
    spendings : sequence of Spending
        Budgets that the chosen points must keep together.
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    ndarray
        The chosen points, in the factors' own units, as an operator can type them.
    """
    if count == 0:
        return np.empty((0, len(feasible.region.low)))
    reference = feasible.candidate_unit[:REFERENCE]
    pairs = feasible.pairs()

    def pool(points: Floats) -> Pool:
        unit = feasible.region.to_unit(points)
        use = [points @ spending.of_point / max(spending.left, 1e-9) for spending in spendings]
        return Pool(
            unit,
            feasible.levels(unit),
            mean_distances(unit, reference),
            np.array(use, dtype=np.float64).reshape(len(spendings), len(points)).T.copy(),
        )

    many = max(FEWEST, FOR_EACH * count)
    candidates = feasible.candidates[:many]
    fixed = pool(np.unique(given, axis=0) if len(given) else given)
    fixed.use[:] = 0.0  # what they use up is taken off the budgets already
    chosen = choose(pool(candidates), fixed, count, pairs, seed=seed, moves=MOVES * count)
    rng = np.random.default_rng(seed)
    for turn in range(ROUNDS):
        places, owners = _nearby(feasible, chosen.unit, REACH * 0.7**turn, rng)
        chosen = improve(chosen, pool(places), owners, fixed, pairs)
    return feasible.region.from_unit(chosen.unit)


def _nearby(
    feasible: FeasibleSet, unit: Floats, reach: float, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.int64]]:
    """Give feasible places near each of some points, and whose they are."""
    owners = np.tile(np.arange(len(unit)), NEARBY)
    shape = (len(owners), unit.shape[1])
    moved = unit[owners] + rng.normal(0.0, reach, shape) * (rng.random(shape) < 0.4)
    places = feasible.region.from_unit(np.clip(moved, 0.0, 1.0))
    holds = feasible.region.holds(places)
    return places[holds], owners[holds]
