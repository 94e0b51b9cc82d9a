"""A synthetic envelope of eight factors, to measure the search on; no real head."""

import numpy as np
from scipy.stats import qmc

from spinproof.plan.feasible import FeasibleSet

LOW = np.array([200.0, 10, 5, 800, 30, 300, 30, 50])
HIGH = np.array([900.0, 120, 60, 2000, 180, 1200, 300, 300])
FIXED = np.array([450.0, 45, 15, 1750, 120, 1100, 200, 150])


def holds(unit):
    """Tell which points of the unit cube are feasible."""
    rinse, rinse_s, purge_s, fast, fast_s, final, final_s, ramp = (LOW + unit * (HIGH - LOW)).T
    ramps = rinse + np.abs(fast - rinse) + np.abs(fast - final) + final
    total = rinse_s + purge_s + fast_s + final_s + ramps / ramp
    duty = (rinse**2 * rinse_s + fast**2 * fast_s + final**2 * final_s) / total
    return (
        (fast >= rinse + 200)
        & (final <= fast)
        & (total <= 480)
        & (duty <= 1.6e6)
        & (rinse * rinse_s <= 75_000)
    )


def feasible(seed: int = 12345):
    """Give the feasible points of 65 536 scrambled Sobol points, shuffled, and their share."""
    unit = qmc.Sobol(8, rng=np.random.default_rng(seed)).random_base2(16)
    kept = unit[holds(unit)]
    return np.random.default_rng(0).permutation(kept), len(kept) / len(unit)


class Cube:
    """A region whose points are typed as they are: its units are those of the unit cube."""

    low, high = np.zeros(8), np.ones(8)

    def to_unit(self, points):
        """Give points as they are."""
        return points

    def from_unit(self, unit):
        """Give points as they are."""
        return unit

    def holds(self, points):
        """Tell which points are feasible."""
        return holds(points)


def feasible_set() -> FeasibleSet:
    """Give 12 000 candidates and 10 000 test points, none of them in both."""
    kept, share = feasible()
    unit, tests = kept[:12_000], kept[12_000:22_000]
    edges = np.quantile(unit, [1 / 3, 2 / 3], axis=0)
    return FeasibleSet(Cube(), share, unit, unit, tests, edges)


FIXED_UNIT = ((FIXED - LOW) / (HIGH - LOW))[np.newaxis]
