"""Choose points out of a feasible set: far apart, spread as the set is, every pair of levels seen.

The objective joins three aims, since each alone spoils the others: the closest pairs (a power sum
of the distances), the likeness to the feasible set (energy distance) and pairs of levels not seen.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from spinproof.plan.draws import draw, seeded_state, share_of

POWER = 15
"""Power of the distance in the sum over pairs; the compiled search has it written out."""
ENERGY_WEIGHT = 30.0
PAIR_WEIGHT = 0.05
BUDGET_WEIGHT = 100.0
WARM, COLD = 0.02, 1e-4
STEPS = 200
FRESH = 1000
"""Accepted moves after which the sums are taken anew, so that rounding cannot gather."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Pool:
    """Points to choose from, or points chosen, with what the search needs to know of each.

    Attributes
    ----------
    unit : ndarray
        Coordinates in 0 to 1, a row for a point. [1]
    levels : ndarray
        Level 0 to 2 of each coordinate. [1]
    potential : ndarray
        Mean distance to the feasible set. [1]
    use : ndarray
        Share of each budget that the point uses up, a column for a budget. [1]
    """

    unit: Floats
    levels: Ints
    potential: Floats
    use: Floats

    def take(self, rows: Ints | NDArray[np.bool_]) -> "Pool":
        """Give some of the points, in that order."""
        return Pool(self.unit[rows], self.levels[rows], self.potential[rows], self.use[rows])

    def joined(self, other: "Pool") -> "Pool":
        """Give the points followed by those of another pool."""
        return Pool(
            np.concatenate([self.unit, other.unit]),
            np.concatenate([self.levels, other.levels]),
            np.concatenate([self.potential, other.potential]),
            np.concatenate([self.use, other.use]),
        )


def choose(
    candidates: Pool,
    fixed: Pool,
    count: int,
    feasible_pairs: NDArray[np.bool_],
    *,
    seed: int,
    moves: int,
) -> Pool:
    """Choose points by exchange with annealing, around points that stay.

    Parameters
    ----------
    candidates : Pool
        Feasible points.
    fixed : Pool
        Points that stay.
    count : int
        How many points to choose. [1]
    feasible_pairs : ndarray
        Which pairs of levels exist: first factor, second factor, their levels.
    seed : int
        Seed of every random draw. [1]
    moves : int
        How many exchanges to try. [1]

    Returns
    -------
    Pool
        The chosen points; the fixed ones are not among them.

    References
    ----------
    .. [1] M. D. Morris and T. J. Mitchell, "Exploratory designs for computational experiments,"
       J. Stat. Plan. Inference 43, 381-402 (1995).
    .. [2] S. Mak and V. R. Joseph, "Support points," Ann. Statist. 46, 2562-2592 (2018).
    """
    rng = np.random.default_rng(seed)
    start = rng.choice(len(candidates.unit), count, replace=len(candidates.unit) < count)
    rows = fixed.joined(candidates.take(start))
    state = seeded_state(rng)
    return _searched(
        rows, candidates, len(fixed.unit), feasible_pairs, np.empty(0, np.int64), moves, state
    )


def improve(
    chosen: Pool, nearby: Pool, owners: Ints, fixed: Pool, feasible_pairs: NDArray[np.bool_]
) -> Pool:
    """Move chosen points to places nearby, one after the other, where that is better.

    Parameters
    ----------
    chosen : Pool
        As from `choose`.
    nearby : Pool
        Feasible places to try, in order.
    owners : ndarray
        For each place, the row of the chosen point that may move there. [1]
    fixed : Pool
        Points that stay.
    feasible_pairs : ndarray
        As for `choose`.

    Returns
    -------
    Pool
        The chosen points, moved.
    """
    state = np.ones(1, dtype=np.uint64)
    rows = fixed.joined(chosen)
    return _searched(rows, nearby, len(fixed.unit), feasible_pairs, owners, len(owners), state)


def mean_distances(points: Floats, reference: Floats) -> Floats:
    """Mean distance of each point to a set of points.

    Parameters
    ----------
    points, reference : ndarray
        Coordinates, a row for a point. [1]

    Returns
    -------
    ndarray
        A mean for each point. [1]
    """
    means: Floats = _mean_distances(np.ascontiguousarray(points), np.ascontiguousarray(reference.T))
    return means


def _searched(
    rows: Pool,
    places: Pool,
    first: int,
    feasible_pairs: NDArray[np.bool_],
    owners: Ints,
    moves: int,
    state: NDArray[np.uint64],
) -> Pool:
    """Run the compiled search on copies, and give the points from ``first`` on."""
    if len(rows.unit) == first or not len(places.unit):
        return rows.take(np.arange(first, len(rows.unit)))
    picked: Ints = _search(
        np.ascontiguousarray(rows.unit.T),
        (rows.levels.copy(), rows.potential.copy(), rows.use.copy()),
        (places.unit, places.levels, places.potential, places.use),
        feasible_pairs,
        first,
        owners,
        moves,
        state,
    )
    every = rows.joined(places)
    return every.take(picked[first:])


@njit(cache=True)
def _mean_distances(points: Floats, reference: Floats) -> Floats:
    factors, many = reference.shape
    means, squares = np.empty(points.shape[0]), np.empty(many)
    for i in range(points.shape[0]):
        squares[:] = 0.0
        for k in range(factors):
            for j in range(many):
                squares[j] += (points[i, k] - reference[k, j]) ** 2
        total = 0.0
        for j in range(many):
            squares[j] = np.sqrt(squares[j])
        for j in range(many):
            total += squares[j]
        means[i] = total / many
    return means


@njit(cache=True)
def _distances(unit: Floats, place: Floats, row: int, new: Floats) -> None:
    """Write distances of a place to all points, and their inverse powers, but for one row."""
    factors, runs = unit.shape
    for j in range(runs):
        new[0, j] = 0.0
    for k in range(factors):
        for j in range(runs):
            new[0, j] += (unit[k, j] - place[k]) ** 2
    for j in range(runs):
        square = max(new[0, j], 1e-6)
        cube = square * square * square
        new[0, j] = np.sqrt(new[0, j])
        new[1, j] = 1.0 / (cube * cube * square * np.sqrt(square))  # distance to the power -15
    new[0, row] = new[1, row] = 0.0


@njit(cache=True)
def _table(unit: Floats) -> Floats:
    runs = unit.shape[1]
    table = np.empty((2, runs, runs))
    new = np.empty((2, runs))
    for row in range(runs):
        _distances(unit, unit[:, row].copy(), row, new)
        table[0, row] = new[0]
        table[1, row] = new[1]
    return table


@njit(cache=True)
def _count(counts: Ints, levels: Ints, by: int) -> None:
    for f in range(levels.size):
        for g in range(f):
            counts[f, g, levels[f], levels[g]] += by


@njit(cache=True)
def _fewer_missing(counts: Ints, feasible: NDArray[np.bool_], old: Ints, new: Ints) -> int:
    """How many more pairs of levels are missing when a row changes its levels."""
    more = 0
    for f in range(old.size):
        for g in range(f):
            if old[f] == new[f] and old[g] == new[g]:
                continue
            if counts[f, g, old[f], old[g]] == 1 and feasible[f, g, old[f], old[g]]:
                more += 1
            if counts[f, g, new[f], new[g]] == 0 and feasible[f, g, new[f], new[g]]:
                more -= 1
    return more


@njit(cache=True)
def _over(used: Floats, fewer: Floats, more: Floats) -> float:
    """Tell how far the budgets are exceeded after a change, as shares of them."""
    over = 0.0
    for b in range(used.size):
        over += max(0.0, used[b] - fewer[b] + more[b] - 1.0)
    return over


@njit(cache=True)
def _gained(new: Floats, old: Floats) -> float:
    gained = 0.0
    for j in range(new.size):
        gained += new[j] - old[j]
    return gained


@njit(cache=True)
def _goal(sums: Floats, runs: int, missing: int, over: float) -> float:
    """Join the aims; ``sums`` holds inverse powers, distances and potentials of all runs."""
    energy = 2.0 * sums[2] / runs - 2.0 * sums[1] / runs**2
    closeness = np.log(sums[0]) / POWER if sums[0] > 0 else 0.0
    return float(closeness + ENERGY_WEIGHT * energy + PAIR_WEIGHT * missing + BUDGET_WEIGHT * over)


@njit(cache=True)
def _sums(table: Floats, potential: Floats) -> Floats:
    return np.array([table[1].sum() / 2, table[0].sum() / 2, potential.sum()])


@njit(cache=True)
def _search(unit, known, places, feasible, first, owners, moves, state):  # type: ignore[no-untyped-def] # compiled: numba finds the types
    """Exchange rows from ``first`` on for places; give the rows, and places behind them, chosen."""
    levels, potential, use = known
    place_unit, place_levels, place_potential, place_use = places
    factors, runs = unit.shape
    table, new = _table(unit), np.empty((2, runs))
    counts = np.zeros((factors, factors, 3, 3), dtype=np.int64)
    for row in range(runs):
        _count(counts, levels[row], 1)
    missing = (feasible & (counts == 0)).sum()
    sums, used, nothing = _sums(table, potential), use.sum(axis=0), np.zeros(use.shape[1])
    goal = _goal(sums, runs, missing, _over(used, nothing, nothing))
    picked, fresh, accepted = np.arange(runs), sums.copy(), 0
    best, least = picked.copy(), goal
    cooling, temperature = (COLD / WARM) ** (1.0 / STEPS), WARM
    ordered = owners.size > 0
    for i in range(moves):
        if i % (moves // STEPS + 1) == 0:
            temperature *= cooling
        row = first + (owners[i] if ordered else draw(state, runs - first))
        to = i if ordered else draw(state, place_potential.size)
        _distances(unit, place_unit[to], row, new)
        fresh[0] = sums[0] + _gained(new[1], table[1, row])
        fresh[1] = sums[1] + _gained(new[0], table[0, row])
        fresh[2] = sums[2] + place_potential[to] - potential[row]
        more = _fewer_missing(counts, feasible, levels[row], place_levels[to])
        after = _goal(fresh, runs, missing + more, _over(used, use[row], place_use[to]))
        if after >= goal and (ordered or after - goal > -np.log(share_of(state)) * temperature):
            continue
        used += place_use[to] - use[row]
        _count(counts, levels[row], -1)
        _count(counts, place_levels[to], 1)
        unit[:, row] = place_unit[to]
        table[:, row] = table[:, :, row] = new
        levels[row], use[row] = place_levels[to], place_use[to]
        potential[row], picked[row] = place_potential[to], runs + to
        missing, accepted = missing + more, accepted + 1
        anew = accepted % FRESH == 0 or fresh[0] < 0.5 * sums[0]
        sums[:] = _sums(table, potential) if anew else fresh
        goal = after
        if goal < least:
            least = goal
            best[:] = picked
    return best
