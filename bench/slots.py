"""Quality and time of the slot search beside a MILP solver on the same loads. Run as a module.

Wafers of 53 +- 0.3 g with their mass centre up to 0.15 mm off, pockets 0.1 mm off, pitch 6.35 mm,
cassettes at 150 mm, limits 60 g mm and 60 x 50 g mm2 (own figures, of no machine). The solver
(HiGHS by scipy) minimises the same measure with 16 facets in place of each circle, for 10 s.
"""

import sys
import time

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, hstack, vstack

from spinproof.plan.slot_search import measure_of
from spinproof.plan.slots import Places, best_slots

Floats = NDArray[np.float64]
Case = tuple[Floats, Places, NDArray[np.complex128]]

FACETS = 16
SOLVER_S = 10.0
CASES = ((1, 5), (1, 6), (1, 7), (1, 13), (1, 20), (2, 30), (4, 60))


def case_of(cassettes: int, count: int, seed: int) -> Case:
    """Draw a load and the slots for it."""
    rng = np.random.default_rng(seed)
    number = np.arange(25 * cassettes)
    radius = 0.15 if cassettes > 1 else 0.0
    centres = radius * np.exp(2j * np.pi * (number // 25) / cassettes)
    centres = centres + 1e-4 * _disk(rng, number.size)
    heights = 6.35e-3 * (number % 25 - 12)
    masses = 53e-3 + rng.uniform(-3e-4, 3e-4, count)
    return masses, Places(centres, heights, 60e-6, 3e-6), 1.5e-4 * _disk(rng, count)


def _disk(rng: np.random.Generator, size: int) -> NDArray[np.complex128]:
    return np.asarray(np.sqrt(rng.random(size)) * np.exp(2j * np.pi * rng.random(size)))


def shares_of(case: Case) -> Floats:
    """Give what each wafer adds in each slot, by the definition of the measure."""
    masses, places, offsets = case
    static = masses[:, None] * (places.centres + offsets[:, None])
    couple = static * places.heights / places.couple_limit
    static = static / places.static_limit
    return np.stack((static.real, static.imag, couple.real, couple.imag), -1)


def by_solver(case: Case, seconds: float = SOLVER_S) -> tuple[float, float, bool]:
    """Give the solver's measure, its time, and whether it proved it."""
    shares = shares_of(case)
    wafers, slots, _ = shares.shape
    turn = 2 * np.pi * np.arange(FACETS) / FACETS
    round_ = np.stack((np.cos(turn), np.sin(turn)))
    flat = shares.reshape(-1, 4).T
    facets = np.concatenate((round_.T @ flat[:2], round_.T @ flat[2:]))
    number = np.arange(wafers * slots)
    ones = np.ones(number.size)
    each = coo_array((ones, (number // slots, number)), shape=(wafers, number.size))
    once = coo_array((ones, (number % slots, number)), shape=(slots, number.size))
    rows = vstack((
        hstack((coo_array(facets), coo_array(-np.ones((2 * FACETS, 1))))),
        hstack((vstack((each, once)), coo_array((wafers + slots, 1)))),
    ))  # fmt: skip
    low = np.r_[np.full(2 * FACETS, -np.inf), np.ones(wafers), np.zeros(slots)]
    high = np.r_[np.zeros(2 * FACETS), np.ones(wafers + slots)]
    begun = time.monotonic()
    found = milp(
        np.r_[np.zeros(number.size), 1.0],
        constraints=LinearConstraint(rows.tocsc(), low, high),
        integrality=np.r_[ones, 0.0],
        bounds=Bounds(0, np.r_[ones, np.inf]),
        options={"time_limit": seconds},
    )
    took = time.monotonic() - begun
    if found.x is None:
        return np.inf, took, False
    chosen = found.x[:-1].reshape(wafers, slots).argmax(axis=1)
    return float(measure_of(shares, chosen)), took, found.status == 0


def main() -> None:
    """Print the figures; a number of seeds may be given."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    best_slots(*case_of(1, 7, 0))
    best_slots(*case_of(1, 3, 0))
    print(f"slots of a load, beside {SOLVER_S:g} s of a MILP solver on the same load:")
    print("  cassettes wafers | measure, CPU ms             | solver, s             | solver / own")
    worse = 0
    for cassettes, count in CASES:
        for seed in range(1, seeds + 1):
            case = case_of(cassettes, count, seed)
            begun = time.process_time()
            own = best_slots(*case)
            cpu = 1e3 * (time.process_time() - begun)
            other, took, proven = by_solver(case)
            worse += own.measure > other * (1 + 1e-9)
            print(
                f"  {cassettes:9} {count:6} | {own.measure:9.6f} {own.standing:10} {cpu:6.1f} | "
                f"{other:10.6f} {'proven' if proven else '':6} {took:5.1f} | "
                f"{other / own.measure:10.2f}",
                flush=True,
            )
    print(f"  worse than the solver in {worse} of {seeds * len(CASES)} loads")


if __name__ == "__main__":
    main()
