"""Heater and wafers of the runs: balanced, and met with low, middle and high of all else."""

from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from spinproof.plan.draws import draw, seeded_state

Ints = NDArray[np.int64]
Marks = NDArray[np.bool_]

SWAPS = 400
"""Swaps to try for each run."""
UNSEEN = 1000
"""What a pair of levels that no run shows weighs, against unequal counts."""


def balanced_choice(
    options: Sequence[int], used: Sequence[int], count: int, seed: int
) -> list[int]:
    """Choose options so that each is used as often as the others, or once more.

    Parameters
    ----------
    options : sequence of int
        What there is to choose from. [1]
    used : sequence of int
        Options that are in use already. [1]
    count : int
        How many to choose. [1]
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    list of int
        The choice, in random order. [1]
    """
    rng = np.random.default_rng(seed)
    times = {option: used.count(option) for option in options}
    chosen = list[int]()
    for _ in range(count):
        least = min(times.values())
        chosen.append(int(rng.choice([option for option in options if times[option] == least])))
        times[chosen[-1]] += 1
    return [chosen[i] for i in rng.permutation(count)]


def match_levels(given: Ints, free: Ints, mixed: int, possible: Marks, seed: int) -> Ints:
    """Deal the last columns of some rows out anew, so that pairs of levels are seen evenly.

    Parameters
    ----------
    given : ndarray
        Levels of runs that stay, a row for a run and a column for a factor. [1]
    free : ndarray
        Levels of the other runs; their last columns change hands as wholes. [1]
    mixed : int
        How many last columns are dealt out. [1]
    possible : ndarray
        Which pairs exist: factor, factor before it, level, level.
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    ndarray
        ``free`` with the last columns dealt out. [1]
    """
    if len(free) < 2:
        return free
    rows = np.concatenate([given, free])
    state = seeded_state(np.random.default_rng(seed))
    _deal(rows, len(given), rows.shape[1] - mixed, possible, SWAPS * len(free), state)
    return rows[len(given) :]


@njit(cache=True)
def _shift(counts: Ints, possible: Marks, row: Ints, first: int, by: int) -> int:
    """Add or take away a row; give the change of what is to be small."""
    change = 0
    for f in range(first, row.size):
        for g in range(f):
            before = counts[f, g, row[f], row[g]]
            after = before + by
            counts[f, g, row[f], row[g]] = after
            change += after * after - before * before
            if possible[f, g, row[f], row[g]]:
                change += UNSEEN * ((after == 0) - (before == 0))
    return change


@njit(cache=True)
def _deal(
    rows: Ints, start: int, first: int, possible: Marks, swaps: int, state: NDArray[np.uint64]
) -> None:
    factors = rows.shape[1]
    levels = possible.shape[2]
    counts = np.zeros((factors, factors, levels, levels), dtype=np.int64)
    for i in range(rows.shape[0]):
        _shift(counts, possible, rows[i], first, 1)
    for _ in range(swaps):
        a = start + draw(state, rows.shape[0] - start)
        b = start + draw(state, rows.shape[0] - start)
        change = _shift(counts, possible, rows[a], first, -1)
        change += _shift(counts, possible, rows[b], first, -1) if a != b else 0
        for f in range(first, factors):
            rows[a, f], rows[b, f] = rows[b, f], rows[a, f]
        change += _shift(counts, possible, rows[a], first, 1)
        change += _shift(counts, possible, rows[b], first, 1) if a != b else 0
        if change > 0:
            for row in (rows[a], rows[b]):
                _shift(counts, possible, row, first, -1)
            for f in range(first, factors):
                rows[a, f], rows[b, f] = rows[b, f], rows[a, f]
            for row in (rows[a], rows[b]):
                _shift(counts, possible, row, first, 1)
