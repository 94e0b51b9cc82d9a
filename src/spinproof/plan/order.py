"""The order of runs: no factor drifts along it, hard runs stand apart, heat is not in clusters."""

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.stats import rankdata

from spinproof.plan.draws import draw, seeded_state, share_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SWAPS = 600
"""Swaps to try for each run."""
WARM, COLD = 0.02, 1e-4
STEPS = 100


def search_order(
    values: Floats, hard: NDArray[np.bool_], apart: int, movable: Ints, seed: int
) -> Ints:
    """Find an order whose rank correlation with every factor is small.

    Parameters
    ----------
    values : ndarray
        Factors of the runs, a row for a run in its present order; the last but one is the heater,
        and NaN in a whole row marks a run that is not randomised.
    hard : ndarray
        Which runs strain the drive most.
    apart : int
        How many runs should lie from one hard run to the next. [1]
    movable : ndarray
        Rows that may change places with one another. [1]
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    ndarray
        Which present row stands at each place. [1]
    """
    order = np.arange(len(values))
    random = np.flatnonzero(~np.isnan(values).any(axis=1))
    if len(movable) < 2 or len(random) < 2:
        return order
    ranks = np.zeros((values.shape[1], len(values)))
    ranks[:, random] = standard_ranks(values[random])
    heated = np.zeros(len(values), dtype=np.bool_)
    heated[random] = values[random, -2] > 0
    state = seeded_state(np.random.default_rng(seed))
    swaps = SWAPS * len(movable)
    found: Ints = _search(ranks, random, (hard, heated), apart, movable, swaps, state)
    return found


def order_correlation(values: Floats) -> float:
    """Largest rank correlation, without its sign, of any factor with the order.

    Parameters
    ----------
    values : ndarray
        Factors of the randomised runs in their order, a row for a run.

    Returns
    -------
    float
        Spearman's coefficient; zero with fewer than two runs. [1]

    References
    ----------
    .. [1] C. Spearman, "The proof and measurement of association between two things," Am. J.
       Psychol. 15, 72-101 (1904).
    """
    if len(values) < 2:
        return 0.0
    places = standard_ranks(np.arange(len(values), dtype=np.float64)[:, np.newaxis])[0]
    return float(np.abs(standard_ranks(values) @ places).max())


def standard_ranks(values: Floats) -> Floats:
    """Ranks of each column about their mean, scaled to a sum of squares of one.

    Parameters
    ----------
    values : ndarray
        A row for a run.

    Returns
    -------
    ndarray
        A row for a factor; zeros for a factor that does not change. [1]
    """
    ranks = np.asarray(rankdata(values, axis=0)).T
    ranks = ranks - ranks.mean(axis=1, keepdims=True)
    length = np.sqrt((ranks**2).sum(axis=1, keepdims=True))
    return np.where(length > 0, ranks / np.where(length > 0, length, 1.0), 0.0)


@njit(cache=True)
def _correlation(ranks: Floats, order: Ints, places: Floats) -> float:
    worst = 0.0
    for f in range(ranks.shape[0]):
        total = 0.0
        for i in range(order.size):
            total += ranks[f, order[i]] * places[i]
        worst = max(worst, abs(total))
    return worst


@njit(cache=True)
def _closeness(hard: NDArray[np.bool_], order: Ints, apart: int) -> int:
    """Count the hard runs that follow another too soon."""
    found, last = 0, -apart
    for i in range(order.size):
        if hard[order[i]]:
            found += i - last < apart
            last = i
    return found


@njit(cache=True)
def _clustering(heated: NDArray[np.bool_], order: Ints, random: Ints) -> float:
    """Deviation of the number of alike stretches from chance, beyond one sigma."""
    on, changes = 0, 1
    for i in range(random.size):
        on += heated[order[random[i]]]
        if i > 0 and heated[order[random[i]]] != heated[order[random[i - 1]]]:
            changes += 1
    off = random.size - on
    if on < 2 or off < 2:
        return 0.0
    both = 2.0 * on * off
    mean = both / random.size + 1.0
    spread = np.sqrt(both * (both - random.size) / (random.size**2 * (random.size - 1.0)))
    return float(max(0.0, abs(changes - mean) / spread - 1.0))


@njit(cache=True)
def _search(ranks, random, marks, apart, movable, swaps, state):  # type: ignore[no-untyped-def] # compiled: numba finds the types
    """Swap places with annealing; give the best order seen."""
    hard, heated = marks
    order = np.arange(ranks.shape[1])
    places = np.zeros(order.size)
    middle = (random.size - 1) / 2.0
    length = np.sqrt(random.size * (random.size**2 - 1.0) / 12.0)
    for i in range(random.size):
        places[random[i]] = (i - middle) / length
    best, least, goal = order.copy(), np.inf, np.inf
    cooling, temperature = (COLD / WARM) ** (1.0 / STEPS), WARM
    for i in range(swaps):
        if i % (swaps // STEPS + 1) == 0:
            temperature *= cooling
        a, b = movable[draw(state, movable.size)], movable[draw(state, movable.size)]
        order[a], order[b] = order[b], order[a]
        after = (
            _correlation(ranks, order, places)
            + _closeness(hard, order, apart)
            + 0.1 * _clustering(heated, order, random)
        )
        if after > goal and after - goal > -np.log(share_of(state)) * temperature:
            order[a], order[b] = order[b], order[a]
            continue
        goal = after
        if goal < least:
            least = goal
            best[:] = order
    return best
