"""Seeded trials: a virtual head is calibrated, and its truth compared with the intervals."""

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from tests.predict import heads

from spinproof.model.head_model import Fit
from spinproof.predict.coast_down import drag_of
from spinproof.predict.drying_fit import hold_up_by_exhaust, hold_up_by_weighing
from spinproof.predict.knowledge import LOGARITHMIC
from spinproof.predict.least_squares import half_width
from spinproof.predict.rinse_step import mixing_of
from spinproof.predict.warm_up import heater_of

Said = tuple[Fit | None, Mapping[str, float]]
DRYING_TRUTH = {"hold_up_g": heads.HOLD_UP_G, "conductance_m3_s": heads.CONDUCTANCE}
STOPS = (0, 0, 20, 40, 40, 50, 50, 60, 60, 70)
"""When the runs of one trial are stopped to be weighed. [s]"""


def _coast_downs(trials: int) -> Iterator[Said]:
    for seed in range(trials):
        rng = np.random.default_rng([seed, 1])
        added = (0.0, 0.0, 0.06, 0.06)
        said = drag_of([heads.coast(rng, i, dj) for i, dj in enumerate(added)], heads.INERTIA)
        yield said.fit, said.values


def _drains(trials: int) -> Iterator[Said]:
    for seed in range(trials):
        rng = np.random.default_rng([seed, 2])
        said = mixing_of([heads.drain_step(rng, i) for i in range(4)])
        yield said.fit, said.values


def _warm_ups(trials: int) -> Iterator[Said]:
    for seed in range(trials):
        rng = np.random.default_rng([seed, 3])
        said = heater_of([heads.warm_up(rng, i) for i in range(4)], heads.LOWER.heater_w)
        yield said.fit, said.values


def _exhausts(trials: int) -> Iterator[Said]:
    rng = np.random.default_rng(4)
    first = heads.HOLD_UP_G * (1 + 0.05 * rng.normal(size=3 * trials))
    time, left = heads.dryings(first, 90)
    for seed in range(trials):
        own = [heads.exhaust(time, left[:, 3 * seed + i], rng, i) for i in range(3)]
        said = hold_up_by_exhaust(own, heads.GIVEN)
        yield said.fit, said.values


def _weighings(trials: int) -> Iterator[Said]:
    rng = np.random.default_rng(5)
    many = len(STOPS)
    time, left = heads.dryings(np.full(many * trials, heads.HOLD_UP_G), 90)
    for seed in range(trials):
        own = left[:, many * seed : many * (seed + 1)]
        said = hold_up_by_weighing(heads.weighings(time, own, STOPS, rng), heads.GIVEN)
        yield said.fit, said.values


TRIALS: dict[str, tuple[Callable[[int], Iterator[Said]], dict[str, float]]] = {
    "coast-down": (
        _coast_downs,
        {
            "coulomb_torque_n_m": heads.DRAG[0],
            "viscous_drag_n_m_s": heads.DRAG[1],
            "quadratic_drag_n_m_s2": heads.DRAG[2],
            "inertia_kg_m2": heads.INERTIA,
        },
    ),
    "drain step": (_drains, {"bowl_volume_l": heads.VOLUME_L}),
    "warm-up": (
        _warm_ups,
        {
            "heater_heat_capacity_j_k": heads.HEATER_J_K,
            "heater_loss_w_k": heads.LOSS_W_K,
        },
    ),
    "exhaust": (_exhausts, DRYING_TRUTH),
    "weighings": (_weighings, DRYING_TRUTH),
}
"""By subject: how to make so many fits, and the truth behind them."""


def coverage(subject: str, trials: int) -> tuple[dict[str, int], int]:
    """Count how often the stated interval holds the truth, and how often something was said."""
    make, truth = TRIALS[subject]
    hits, said = dict.fromkeys(truth, 0), 0
    for fit, values in make(trials):
        if fit is None or not set(truth) <= set(fit.parameters):
            continue
        said += 1
        for name, true in truth.items():
            at = fit.parameters.index(name)
            off = values[name] - true
            if name in LOGARITHMIC:
                off = float(np.log(values[name] / true))
            hits[name] += abs(off) <= half_width(fit.covariance[at][at], fit.degrees)
    return hits, said
