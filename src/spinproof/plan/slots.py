"""The best slots for wafers that are known one by one: exact where it can be proven."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import PlanError
from spinproof.plan.draws import seeded_state
from spinproof.plan.slot_search import anneal, closest_pair, improve, measure_of

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
Chosen = NDArray[np.int64]

EXACT_UP_TO: Final = 6
"""Wafers for which every placement is looked at, or ruled out."""
NOTHING: Final = 1e-12
"""Measure that is as good as zero, which no placement can undercut."""
MOST_PAIRS: Final = 1e9
"""Pairs of half placements that a proof may look at."""
ANNEALED: Final = 80_000
"""Moves of the annealing."""
WORK: Final = 3_000_000
"""Looks at pairs of placements while four wafers at a time are placed anew."""


STARTS: Final = 5
"""Annealings, each with its work after it; the best end is taken."""


class Standing(StrEnum):
    """What is known of a placement."""

    OPTIMAL = "optimal"
    """No placement is better: proven."""
    BEST_FOUND = "best found"
    """No better one was found; there may be one."""


@dataclass(frozen=True)
class Places:
    """Slots of a rotor, and what it may be out of balance."""

    centres: Complex
    """Centre of each slot seen along the axis, from the axis. [m]"""
    heights: Floats
    """Height of each slot from the middle between the correction planes. [m]"""
    static_limit: float
    """Permissible static unbalance. [kg m]"""
    couple_limit: float
    """Permissible couple. [kg m²]"""


@dataclass(frozen=True)
class Placement:
    """Slots for wafers."""

    slots: tuple[int, ...]
    """Slot of each wafer, counted from 1, in the order of the wafers."""
    measure: float
    """Greater of static unbalance and couple, each as a share of what is permissible."""
    standing: Standing

    @property
    def holds(self) -> bool:
        """Whether the placement keeps both limits."""
        return self.measure <= 1


def best_slots(
    masses: ArrayLike,
    places: Places,
    offsets: ArrayLike = 0.0,
    *,
    seed: int = 0,
    simple: tuple[int, ...] = (),
    enough: float = 0.0,
) -> Placement:
    r"""Choose a slot for each wafer so that the rotor is least out of balance.

    .. math:: J = \max\left(\frac{|\sum m_i c_i|}{U_{max}},
              \frac{|\sum m_i c_i z_i|}{C_{max}}\right)

    Parameters
    ----------
    masses : array_like
        Mass of each wafer. [kg]
    places : Places
        The slots, and the limits.
    offsets : array_like of complex
        Mass centre of each wafer from the centre of its slot. [m]
    seed : int
        Seed of the search; the same inputs give the same slots. [1]
    simple : tuple of int
        A pattern that is easy to load, from 1; kept where no other can be better. [1]
    enough : float
        Measure that weighing and play cannot tell from zero; up to it, the pattern is kept. [1]

    Returns
    -------
    Placement
        The best placement, said to be optimal only where that is proven: when it leaves nothing,
        or when all others were ruled out, as for up to six wafers they are.

    Raises
    ------
    PlanError
        If there are more wafers than slots, a mass or a limit is not positive, or the numbers of
        values do not match.

    Notes
    -----
    For up to six wafers the placements of the first and the second half of them are paired: all
    that might beat the best found so far are looked at. More wafers are annealed, and then four
    at a time are placed anew, as well as the others allow: some 40 ms, and not finding better
    proves nothing. A measure below what weighing and play can resolve is noise.

    References
    ----------
    .. [1] E. Horowitz, S. Sahni, "Computing partitions with applications to the knapsack problem,"
       J. ACM 21, 277-292 (1974).
    """
    weights = np.atleast_1d(np.asarray(masses, float))
    shares = _shares(weights, places, np.asarray(offsets, complex))
    if weights.size == 0:
        return Placement((), 0.0, Standing.OPTIMAL)
    first = np.array(simple, np.int64) - 1 if simple else _first(*shares.shape[:2])
    least = _least(shares)
    kept = bool(measure_of(shares, first) <= max(least, enough))
    chosen, proven = (first, False) if kept else _found(shares, first, seed)
    measure = float(measure_of(shares, chosen))
    proven = proven or measure <= least
    standing = Standing.OPTIMAL if proven else Standing.BEST_FOUND
    return Placement(tuple(int(slot) + 1 for slot in chosen), measure, standing)


def _least(shares: Floats) -> float:
    """Give a measure that no placement undercuts: a static part that no slot changes, or zero."""
    static = shares[:, :, :2]
    if float(np.ptp(static, axis=1).max()) > NOTHING:
        return NOTHING
    return float(np.hypot(*static[:, 0, :].sum(axis=0))) + NOTHING


def _found(shares: Floats, first: Chosen, seed: int) -> tuple[Chosen, bool]:
    count, slots, _ = shares.shape
    state = seeded_state(np.random.default_rng(seed))
    chosen = anneal(shares, first, ANNEALED, state)
    if measure_of(shares, chosen) <= NOTHING:
        return chosen, True
    if count > EXACT_UP_TO:
        ends = [improve(shares, chosen, WORK, state)]
        for _ in range(STARTS - 1):
            start = anneal(shares, first, ANNEALED, state)
            ends.append(improve(shares, start, WORK, state))
        return min(ends, key=lambda end: float(measure_of(shares, end))), False
    half = (count + 1) // 2
    if _placements(half, slots) * _placements(count - half, slots) > MOST_PAIRS * _reach(
        shares, measure_of(shares, chosen)
    ):
        return chosen, False
    return closest_pair(shares, chosen), True


def _placements(count: int, slots: int) -> float:
    return float(np.prod(np.arange(slots, slots - count, -1.0)))


def _reach(shares: Floats, measure: float) -> float:
    """Estimate how many times fewer pairs than all are near enough to be looked at."""
    width = float(np.sum(np.ptp(shares, axis=1).max(axis=1)))
    return max(1.0, width / (2 * measure + 1e-300))


def _first(count: int, slots: int) -> Chosen:
    """Spread the wafers evenly over the slots, to begin with."""
    return np.linspace(0, slots - 1, count).round().astype(np.int64)


def _shares(masses: Floats, places: Places, offsets: Complex) -> Floats:
    """Give what each wafer adds in each slot: static and couple as shares of their limits."""
    centres, heights = np.asarray(places.centres, complex), np.asarray(places.heights, float)
    _check(masses, centres, heights, places, offsets)
    where = centres + np.broadcast_to(offsets, masses.shape)[:, np.newaxis]
    static = masses[:, np.newaxis] * where
    couple = static * heights / places.couple_limit
    static = static / places.static_limit
    return np.ascontiguousarray(np.stack((static.real, static.imag, couple.real, couple.imag), -1))


def _check(
    masses: Floats, centres: Complex, heights: Floats, places: Places, offsets: Complex
) -> None:
    problem = None
    if masses.size > centres.size:
        problem = f"{masses.size} wafers do not fit {centres.size} slots"
    elif heights.shape != centres.shape or offsets.shape not in {(), masses.shape}:
        problem = "there is not one height for each slot and one offset for each wafer"
    elif not (masses > 0).all() or not np.isfinite(masses).all():
        problem = "a wafer has no mass"
    elif not (np.isfinite(centres) & np.isfinite(heights)).all() or not np.isfinite(offsets).all():
        problem = "a slot has no place: the pitch of the slots may be missing"
    elif not (0 < places.static_limit < np.inf and 0 < places.couple_limit < np.inf):
        problem = "the limits of unbalance are not above zero"
    if problem:
        raise PlanError(problem, where="slots for a load", mend="Correct the load or the head.")
