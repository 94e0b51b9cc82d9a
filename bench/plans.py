"""Burn-in plans: quality and time beside SciPy and pyDOE3. Run with ``make bench``.

Every way is timed in the same process, in CPU seconds; ratios compare with ours. The squared
distance is that on levels 0 to n - 1, larger is better; cd is SciPy's centred discrepancy.
"""

import time
from collections.abc import Callable

import numpy as np
from pyDOE3 import lhs
from scipy.spatial.distance import cdist, pdist
from scipy.stats import qmc
from tests.plan.env_a import FIXED_UNIT, feasible_set, holds

from spinproof.plan.filling import fill
from spinproof.plan.latin import RowLimit, latin_levels, smallest_squared_distance

SWAPS_A_SECOND = 6_500_000
LIMITS = (
    RowLimit((1.0, 1.0) + (0.0,) * 8, 1.5),
    RowLimit((0.0, 0.0, -1.0, 1.0) + (0.0,) * 6, 0.6),
)


def timed(way: Callable[[], np.ndarray]) -> tuple[np.ndarray, float]:
    """Give what a way makes, and its CPU time."""
    begun = time.process_time()
    return way(), time.process_time() - begun


def levels_of(unit: np.ndarray) -> np.ndarray:
    """Give the ranks of a design in the unit cube, which are its levels."""
    return np.argsort(np.argsort(unit, axis=0), axis=0)


def bench_latin(runs: int, factors: int, bars: tuple[int, int]) -> None:
    """Latin hypercubes without limits, for two seconds and for a minute."""
    rng = np.random.default_rng(1)
    ways: dict[str, Callable[[], np.ndarray]] = {
        "qmc random-cd": lambda: levels_of(
            qmc.LatinHypercube(factors, optimization="random-cd", rng=rng).random(runs)
        ),
        "qmc random": lambda: levels_of(qmc.LatinHypercube(factors, rng=rng).random(runs)),
        "qmc Sobol": lambda: levels_of(qmc.Sobol(factors, rng=rng).random(64)[:runs]),
        "pyDOE3 maximin": lambda: levels_of(
            lhs(factors, samples=runs, criterion="maximin", iterations=1000)
        ),
        f"ours, 2 s (bar {bars[0]})": lambda: latin_levels(
            runs, factors, seed=1, swaps=2 * SWAPS_A_SECOND
        ),
        f"ours, 60 s (bar {bars[1]})": lambda: latin_levels(
            runs, factors, seed=1, swaps=57 * SWAPS_A_SECOND
        ),
    }
    found = {name: timed(way) for name, way in ways.items()}
    own = smallest_squared_distance(found[f"ours, 2 s (bar {bars[0]})"][0])
    print(f"Latin hypercube of {runs} runs and {factors} factors:")
    for name, (levels, cpu) in found.items():
        squared = smallest_squared_distance(levels)
        cd = qmc.discrepancy((levels + 0.5) / runs)
        print(f"  {name:22} d2 {squared:5}  {own / squared:5.2f} x  cd {cd:.4f}  {cpu:7.2f} s")


def bench_limits() -> None:
    """Latin hypercube whose rows keep two limits."""
    levels, cpu = timed(
        lambda: latin_levels(60, 10, seed=1, swaps=2 * SWAPS_A_SECOND, limits=LIMITS)
    )
    free = smallest_squared_distance(latin_levels(60, 10, seed=1, swaps=2 * SWAPS_A_SECOND))
    unit, squared = levels / 59, smallest_squared_distance(levels)
    kept = (unit[:, 0] + unit[:, 1] <= 1.5 + 1e-9) & (unit[:, 3] - unit[:, 2] <= 0.6 + 1e-9)
    print("the same 60 x 10 with two limits on every row (bar 3950):")
    print(
        f"  d2 {squared}, {squared / free:.3f} x without limits, {kept.sum()} of 60 rows keep them,"
    )
    print(f"  {cpu:.2f} s")


def bench_growth() -> None:
    """Time of a swap against the number of rows."""
    each = []
    for runs in (30, 60, 120):
        _, cpu = timed(lambda runs=runs: latin_levels(runs, 10, seed=1, swaps=2_000_000))
        each.append(f"{runs}: {cpu / 2e6 / runs * 1e9:.2f}")
    print(f"time of a swap and row, ns, by rows: {', '.join(each)}")


def bench_constrained() -> None:
    """Compare on the synthetic envelope: ours beside rejection of ordinary points, 56 runs."""
    area = feasible_set()
    inner = cdist(area.test_unit[:4000], area.test_unit[4000:8000]).mean()
    rng = np.random.default_rng(1)

    def kept(unit: np.ndarray) -> np.ndarray:
        return unit[holds(unit)][:56]

    ways: dict[str, Callable[[], np.ndarray]] = {
        "qmc Sobol, filtered": lambda: kept(qmc.Sobol(8, rng=rng).random(128)),
        "qmc random-cd, filtered": lambda: kept(
            qmc.LatinHypercube(8, optimization="random-cd", rng=rng).random(100)
        ),
        "pyDOE3 maximin, filtered": lambda: kept(
            lhs(8, samples=100, criterion="maximin", iterations=300)
        ),
        "ours": lambda: np.vstack([FIXED_UNIT, fill(area, FIXED_UNIT, 55, (), seed=1)]),
    }
    print("56 runs in a constrained envelope of 8 factors (bars d 0.62, E 0.0080, fill 0.95):")
    for name, way in ways.items():
        unit, cpu = timed(way)
        to_tests = cdist(unit, area.test_unit)
        energy = 2 * to_tests.mean() - cdist(unit, unit).mean() - inner
        reach = to_tests.min(axis=0).max()
        print(
            f"  {name:25} {len(unit)} runs  d {pdist(unit).min():.3f}  E {energy:.4f}  "
            f"fill {reach:.3f}  {cpu:.2f} s"
        )


def main() -> None:
    """Print the figures."""
    latin_levels(10, 3, seed=1, swaps=10, limits=(RowLimit((1.0, 1.0, 0.0), 1.5),))  # compiles
    fill(feasible_set(), FIXED_UNIT, 3, (), seed=1)
    bench_latin(56, 8, (2480, 2540))
    bench_latin(60, 10, (4000, 4150))
    bench_limits()
    bench_growth()
    bench_constrained()


if __name__ == "__main__":
    main()
