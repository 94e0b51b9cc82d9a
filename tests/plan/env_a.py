"""A synthetic envelope of eight factors, to measure the search on; no real head."""

import numpy as np
from scipy.stats import qmc

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


def fixed_unit():
    """Give the fixed point in the unit cube."""
    return (FIXED - LOW) / (HIGH - LOW)
