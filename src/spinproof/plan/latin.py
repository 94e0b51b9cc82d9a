"""Latin hypercubes whose rows stand far apart: every factor takes each level exactly once.

Burn-in plans do not use them: rounding to the steps of typing and discrete factors break a Latin
design. They measure the search against published optima, in tests and in the bench.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from spinproof.model.errors import PlanError
from spinproof.plan.draws import draw, seeded_state, share_of

STAGES = ((20, 0.7, 1.6, 0.05), (40, 0.3, 0.5, 0.05))
"""Power of the distance, share of the swaps, first and last temperature (in shares of a pair).

A low power finds the valley; a high one then looks at the closest pairs alone.
"""
STEPS = 1000
"""Temperatures between the two."""
FAR = 16
"""A pair closer than half of the closest, or than this part of the mean, counts as if there."""
START_SWAPS = 400_000
"""Swaps that look for rows inside the limits, before the rows are spread."""

Levels = NDArray[np.int64]


@dataclass(frozen=True)
class RowLimit:
    """A linear limit that every row of a design must keep.

    Attributes
    ----------
    coefficients : tuple of float
        One for each factor, which runs from 0 to 1. [1]
    at_most : float
        What the weighted sum of a row may reach. [1]
    """

    coefficients: tuple[float, ...]
    at_most: float


def latin_levels(
    runs: int, factors: int, *, seed: int, swaps: int, limits: Sequence[RowLimit] = ()
) -> Levels:
    r"""Find a Latin hypercube whose rows stand far apart, by swaps inside its columns.

    The sum :math:`\sum_{i<j} d_{ij}^{-p}` is annealed. It is kept in whole numbers, which add up
    without rounding: no pair is lost beside a larger one, and the order of adding does not matter.
    A pair far below the closest one counts as if at a floor, so that the numbers have room.

    Parameters
    ----------
    runs : int
        Rows of the design, and levels of each factor. [1]
    factors : int
        Columns of the design. [1]
    seed : int
        Seed of every random draw. [1]
    swaps : int
        How many swaps to try: the same number gives the same design on every machine. [1]
    limits : sequence of RowLimit
        What every row must keep, in coordinates ``level / (runs - 1)``. [1]

    Returns
    -------
    ndarray
        Levels 0 to ``runs - 1``, a row for a run and a column for a factor. [1]

    Raises
    ------
    PlanError
        If there is no such design by its numbers, or none was found that keeps the limits.

    References
    ----------
    .. [1] M. D. Morris and T. J. Mitchell, "Exploratory designs for computational experiments,"
       J. Stat. Plan. Inference 43, 381-402 (1995).
    """
    if runs < 2 or factors < 1 or any(len(limit.coefficients) != factors for limit in limits):
        raise PlanError(
            f"a Latin hypercube of {runs} runs and {factors} factors does not exist, or a limit "
            "has another number of coefficients",
            where="latin_levels",
            mend="Ask for 2 runs or more, and give each limit one coefficient a factor.",
        )
    rng = np.random.default_rng(seed)
    columns = np.array([rng.permutation(runs) for _ in range(factors)], dtype=np.int64)
    weights = np.array([limit.coefficients for limit in limits], dtype=np.float64)
    weights = weights.reshape(len(limits), factors) / (runs - 1)
    bounds = np.array([limit.at_most for limit in limits], dtype=np.float64) + 1e-9
    state = seeded_state(rng)
    excess = _settle(columns, weights, bounds, START_SWAPS if limits else 0, state)
    if excess > 0:
        raise PlanError(
            "no Latin hypercube was found whose rows keep the limits",
            where="latin_levels",
            mend="Relax the limits: each factor has to take all of its levels.",
        )
    pairs = runs * (runs - 1) / 2
    for power, share, warm, cold in STAGES:
        table, tries = _inverse_powers(columns, power), round(share * swaps)
        columns = _anneal(columns, weights, bounds, table, tries, state, warm / pairs, cold / pairs)
    return np.array(columns.T, dtype=np.int64)


def smallest_squared_distance(levels: Levels) -> int:
    """Smallest squared distance of two rows, counted in levels.

    Parameters
    ----------
    levels : ndarray
        As from `latin_levels`. [1]

    Returns
    -------
    int
        The smallest sum of squared differences. [1]
    """
    squares = ((levels[:, np.newaxis] - levels) ** 2).sum(axis=2)
    return int(squares[np.triu_indices(len(levels), 1)].min())


def _inverse_powers(columns: Levels, power: float) -> Levels:
    """Give what a pair adds to the sum, for each squared distance, in whole numbers."""
    factors, runs = columns.shape
    squares = np.arange(factors * (runs - 1) ** 2 + 1, dtype=np.float64)
    closest = smallest_squared_distance(columns.T)
    floor = max(closest / 2, factors * runs * (runs + 1) / 6 / FAR)
    shares = (floor / np.maximum(squares, floor)) ** (power / 2)
    return np.asarray(np.rint(2.0**62 / runs**2 * shares), dtype=np.int64)


@njit(cache=True)
def _row_sum(columns: Levels, weights: NDArray[np.float64], m: int, row: int) -> float:
    total = 0.0
    for c in range(columns.shape[0]):
        total += weights[m, c] * columns[c, row]
    return total


@njit(cache=True)
def _row_excess(
    columns: Levels, weights: NDArray[np.float64], bounds: NDArray[np.float64], row: int
) -> float:
    excess = 0.0
    for m in range(bounds.size):
        excess += max(0.0, _row_sum(columns, weights, m, row) - bounds[m])
    return excess


@njit(cache=True)
def _settle(
    columns: Levels,
    weights: NDArray[np.float64],
    bounds: NDArray[np.float64],
    swaps: int,
    state: NDArray[np.uint64],
) -> float:
    """Swap until no row exceeds a limit; give what is left of the excess."""
    factors, runs = columns.shape
    total = 0.0
    for row in range(runs):
        total += _row_excess(columns, weights, bounds, row)
    for _ in range(swaps):
        if total <= 0:
            break
        a, b, c = draw(state, runs), draw(state, runs), draw(state, factors)
        before = _row_excess(columns, weights, bounds, a) + _row_excess(columns, weights, bounds, b)
        columns[c, a], columns[c, b] = columns[c, b], columns[c, a]
        after = _row_excess(columns, weights, bounds, a) + _row_excess(columns, weights, bounds, b)
        if after > before and share_of(state) > 1e-3:
            columns[c, a], columns[c, b] = columns[c, b], columns[c, a]
        elif a != b:
            total = 0.0
            for row in range(runs):
                total += _row_excess(columns, weights, bounds, row)
    return total


@njit(cache=True)
def _keeps(
    columns: Levels,
    weights: NDArray[np.float64],
    bounds: NDArray[np.float64],
    c: int,
    a: int,
    b: int,
) -> bool:
    """Tell whether rows a and b still keep the limits with their levels of a column swapped."""
    more = columns[c, b] - columns[c, a]
    for m in range(bounds.size):
        if weights[m, c] != 0.0:
            change = weights[m, c] * more
            if _row_sum(columns, weights, m, a) + change > bounds[m]:
                return False
            if _row_sum(columns, weights, m, b) - change > bounds[m]:
                return False
    return True


@njit(cache=True)
def _squared_distances(columns: Levels) -> Levels:
    factors, runs = columns.shape
    squares = np.zeros((runs, runs), dtype=np.int64)
    for c in range(factors):
        for i in range(runs):
            for j in range(runs):
                squares[i, j] += (columns[c, i] - columns[c, j]) ** 2
    return squares


@njit(cache=True)
def _put(squares: Levels, values: Levels, row: int, new_squares: Levels, new: Levels) -> None:
    for j in range(new.size):
        squares[row, j] = squares[j, row] = new_squares[j]
        values[row, j] = values[j, row] = new[j]


@njit(cache=True)
def _try_swap(
    column: Levels, squares: Levels, values: Levels, table: Levels, a: int, b: int, new: Levels
) -> int:
    """Write distances and values of rows a and b after a swap to ``new``; give the sum's change."""
    gap, both, change = column[b] - column[a], column[a] + column[b], 0
    for j in range(column.size):
        moved = gap * (both - 2 * column[j])
        new[0, j] = squares[a, j] + moved
        new[1, j] = squares[b, j] - moved
    new[0, a] = new[1, b] = 0
    new[0, b] = new[1, a] = squares[a, b]
    for j in range(column.size):
        new[2, j] = table[new[0, j]]
        new[3, j] = table[new[1, j]]
        change += new[2, j] + new[3, j] - values[a, j] - values[b, j]
    return change


@njit(cache=True)
def _anneal(
    columns: Levels,
    weights: NDArray[np.float64],
    bounds: NDArray[np.float64],
    table: Levels,
    swaps: int,
    state: NDArray[np.uint64],
    warm: float,
    cold: float,
) -> Levels:
    """Anneal the sum of the table's values over all pairs; give the best columns seen."""
    factors, runs = columns.shape
    squares = _squared_distances(columns)
    values = np.empty_like(squares)
    total = 0
    for i in range(runs):
        for j in range(runs):
            values[i, j] = table[squares[i, j]]
            total += values[i, j] if j < i else 0
    best, least = columns.copy(), total
    new = np.empty((4, runs), dtype=np.int64)
    cooling, temperature = (cold / warm) ** (1.0 / STEPS), warm
    for i in range(swaps):
        if i % (swaps // STEPS + 1) == 0:
            temperature *= cooling
        c, a, b = draw(state, factors), draw(state, runs), draw(state, runs - 1)
        b += b >= a
        change = _try_swap(columns[c], squares, values, table, a, b, new)
        if change > 0 and change > -np.log(share_of(state)) * temperature * total:
            continue
        if bounds.size and not _keeps(columns, weights, bounds, c, a, b):
            continue
        columns[c, a], columns[c, b] = columns[c, b], columns[c, a]
        _put(squares, values, a, new[0], new[2])
        _put(squares, values, b, new[1], new[3])
        total += change
        if total < least:
            least = total
            best[:] = columns
    return best
