"""Compiled search for slots: annealing, four wafers placed anew, and every pair of halves.

A wafer in a slot adds four shares of the limits: static and couple, two directions each. A slot
is counted from 0, and -1 stands for none.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from spinproof.plan.draws import State, draw, share_of

Floats = NDArray[np.float64]
Chosen = NDArray[np.int64]

COLD, WARM = 1e-4, 0.3
"""Last and first temperature of the annealing, as shares of the first measure and of itself."""
HALF = 80
"""Looks at a pair that take as long as making and sorting one half."""
CANDIDATES = 26
"""Empty slots that a round of improvement offers to its four wafers."""


@njit(cache=True)
def _worst(a: float, b: float, c: float, d: float) -> float:
    return float(max(np.sqrt(a * a + b * b), np.sqrt(c * c + d * d)))


@njit(cache=True)
def _sums(shares: Floats, chosen: Chosen) -> Floats:
    total = np.zeros(4)
    for i in range(chosen.size):
        if chosen[i] >= 0:
            for j in range(4):
                total[j] += shares[i, chosen[i], j]
    return total


@njit(cache=True)
def measure_of(shares: Floats, chosen: Chosen) -> float:
    """Give the greater of static unbalance and couple of a placement."""
    t = _sums(shares, chosen)
    return _worst(t[0], t[1], t[2], t[3])


@njit(cache=True)
def _moved(total: Floats, shares: Floats, chosen: Chosen, i: int, k: int, slot: int) -> Floats:
    """Sum after wafer ``i`` went to a slot, and wafer ``k`` of that slot, if any, to its own."""
    after = np.empty(4)
    for j in range(4):
        after[j] = total[j] - shares[i, chosen[i], j] + shares[i, slot, j]
        if k >= 0:
            after[j] += shares[k, chosen[i], j] - shares[k, slot, j]
    return after


@njit(cache=True)
def anneal(shares: Floats, first: Chosen, moves: int, state: State) -> Chosen:
    """Move and swap wafers at a falling temperature, and keep the best placement seen."""
    count, slots = shares.shape[0], shares.shape[1]
    chosen, best = first.copy(), first.copy()
    held = np.full(slots, -1)
    for i in range(count):
        held[chosen[i]] = i
    total = _sums(shares, chosen)
    now = lowest = _worst(total[0], total[1], total[2], total[3])
    heat = max(now, 1e-9) * WARM
    cooling = COLD ** (1.0 / moves)
    for _ in range(moves):
        heat *= cooling
        i, slot = draw(state, count), draw(state, slots)
        if slot == chosen[i]:
            continue
        k = held[slot]
        after = _moved(total, shares, chosen, i, k, slot)
        then = _worst(after[0], after[1], after[2], after[3])
        if then > now and np.exp((now - then) / heat) < share_of(state):
            continue
        held[chosen[i]], held[slot] = k, i
        if k >= 0:
            chosen[k] = chosen[i]
        chosen[i] = slot
        total, now = after, then
        if now < lowest:
            lowest = now
            best[:] = chosen
            if lowest <= 1e-12:
                break
    return best


@njit(cache=True)
def _halves(shares: Floats, wafers: Chosen, free: Chosen) -> tuple[Floats, Chosen]:
    """Give sum and slots of every placement of up to three wafers into free slots."""
    n, m = wafers.size, free.size
    size = 1
    for i in range(n):
        size *= m - i
    sums, slots = np.zeros((size, 4)), np.full((size, 3), -1)
    at = 0
    index = np.zeros(3, np.int64)
    for index[0] in range(m):
        for index[1] in range(m if n > 1 else 1):
            if n > 1 and index[1] == index[0]:
                continue
            for index[2] in range(m if n > 2 else 1):
                if n > 2 and (index[2] == index[0] or index[2] == index[1]):
                    continue
                for i in range(n):
                    slots[at, i] = free[index[i]]
                    for j in range(4):
                        sums[at, j] += shares[wafers[i], free[index[i]], j]
                at += 1
    return sums, slots


@njit(cache=True)
def _apart(one: Chosen, other: Chosen) -> bool:
    for i in range(3):
        for k in range(3):
            if one[i] >= 0 and one[i] == other[k]:
                return False
    return True


@njit(cache=True)
def _pair(
    base: Floats, a: Floats, a_slots: Chosen, b: Floats, b_slots: Chosen, bound: float
) -> tuple[int, int, int]:
    """Find the two halves, in different slots, whose sum beats a bound by most; and the work."""
    axis = 0
    for j in range(1, 4):
        if np.ptp(b[:, j]) > np.ptp(b[:, axis]):
            axis = j
    order = np.argsort(b[:, axis])
    rising, sums = b[order, axis], b[order]
    first, second, looked = -1, -1, 0
    for i in range(a.shape[0]):
        t0, t1, t2, t3 = base[0] + a[i, 0], base[1] + a[i, 1], base[2] + a[i, 2], base[3] + a[i, 3]
        start = base[axis] + a[i, axis]
        for k in range(np.searchsorted(rising, -bound - start), rising.size):
            if rising[k] + start >= bound:
                break
            looked += 1
            x, y = t0 + sums[k, 0], t1 + sums[k, 1]
            if x * x + y * y >= bound * bound:
                continue
            z, w = t2 + sums[k, 2], t3 + sums[k, 3]
            if z * z + w * w < bound * bound and _apart(a_slots[i], b_slots[order[k]]):
                bound = _worst(x, y, z, w)
                first, second = i, order[k]
    return first, second, looked


@njit(cache=True)
def _replaced(shares: Floats, chosen: Chosen, wafers: Chosen, free: Chosen) -> tuple[Chosen, int]:
    """Place some wafers as well as the others allow, in free slots; give the work, too."""
    bound = measure_of(shares, chosen)
    half = (wafers.size + 1) // 2
    left, right = wafers[:half], wafers[half:]
    rest = chosen.copy()
    for i in wafers:
        rest[i] = -1
    a, a_slots = _halves(shares, left, free)
    b, b_slots = np.zeros((1, 4)), np.full((1, 3), -1)
    if right.size > 0:
        b, b_slots = _halves(shares, right, free)
    first, second, looked = _pair(_sums(shares, rest), a, a_slots, b, b_slots, bound)
    looked += HALF * (a.shape[0] + b.shape[0])
    if first < 0:
        return chosen, looked
    for i in range(left.size):
        rest[left[i]] = a_slots[first, i]
    for i in range(right.size):
        rest[right[i]] = b_slots[second, i]
    return rest, looked


@njit(cache=True)
def closest_pair(shares: Floats, chosen: Chosen) -> Chosen:
    """Give the best placement of up to six wafers; ``chosen`` is one to beat."""
    return _replaced(shares, chosen, np.arange(shares.shape[0]), np.arange(shares.shape[1]))[0]


@njit(cache=True)
def _draw_to_front(pool: Chosen, count: int, state: State) -> None:
    """Bring ``count`` random members of a pool to its front."""
    for i in range(min(count, pool.size)):
        k = i + draw(state, pool.size - i)
        pool[i], pool[k] = pool[k], pool[i]


@njit(cache=True)
def improve(shares: Floats, first: Chosen, work: int, state: State) -> Chosen:
    """Place four random wafers anew, as well as the others allow, until the work is done."""
    count, slots = shares.shape[0], shares.shape[1]
    chosen = first.copy()
    wafers = np.arange(count)
    done = 0
    while done < work:
        _draw_to_front(wafers, 4, state)
        four = wafers[:4].copy()
        taken = np.zeros(slots, np.bool_)
        for i in range(count):
            taken[chosen[i]] = True
        empty = np.flatnonzero(~taken)
        _draw_to_front(empty, CANDIDATES, state)
        free = np.concatenate((chosen[four], empty[:CANDIDATES]))
        chosen, looked = _replaced(shares, chosen, four, free)
        done += looked
        if measure_of(shares, chosen) <= 1e-12:
            break
    return chosen
