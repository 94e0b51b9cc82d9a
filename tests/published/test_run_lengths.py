"""Mean run lengths of the charts, by a Markov chain that the charts do not share.

Published: Lucas (1976), Lucas and Saccucci (1990) and Montgomery's table, cited from memory; the
chain (Brook and Evans 1972) recomputes them, and a simulation of our charts agrees with it.
"""

import numpy as np
import pytest
from scipy.stats import norm

from spinproof.stats.charts import (
    EWMA_WEIGHT,
    EWMA_WIDTH,
    Centre,
    cumulative_sums,
    ewma_chart,
    individuals_chart,
)

pytestmark = pytest.mark.source("Brook, Evans 1972; Lucas, Saccucci 1990", kind="independent route")


def ewma_run_length(weight: float, width: float, shift: float, states: int = 201) -> float:
    edge = width * np.sqrt(weight / (2 - weight))
    step = 2 * edge / states
    middle = -edge + step * (np.arange(states) + 0.5)
    drift = (1 - weight) * middle[:, None] + weight * shift
    high = norm.cdf((middle[None, :] + step / 2 - drift) / weight)
    low = norm.cdf((middle[None, :] - step / 2 - drift) / weight)
    lengths = np.linalg.solve(np.eye(states) - (high - low), np.ones(states))
    return float(lengths[states // 2])


def sum_run_length(allowance: float, limit: float, shift: float, states: int = 400) -> float:
    step = 2 * limit / (2 * states - 1)
    place = step * np.arange(states)
    high = norm.cdf(place[None, :] + step / 2 - place[:, None] + allowance - shift)
    low = norm.cdf(place[None, :] - step / 2 - place[:, None] + allowance - shift)
    low[:, 0] = 0.0
    return float(np.linalg.solve(np.eye(states) - (high - low), np.ones(states))[0])


@pytest.mark.parametrize(
    ("weight", "width", "shift", "published"),
    [
        (0.1, 2.814, 0.0, 499.6),
        (0.1, 2.814, 0.5, 31.3),
        (0.1, 2.814, 1.0, 10.3),
        (0.2, 2.962, 0.5, 41.8),
    ],
)
def test_the_chain_gives_the_run_lengths_in_print(weight, width, shift, published):
    assert ewma_run_length(weight, width, shift) == pytest.approx(published, rel=0.01)


@pytest.mark.parametrize(("limit", "steady", "shifted"), [(4, 167.68, 8.383), (5, 465.43, 10.376)])
def test_the_chain_gives_the_run_lengths_of_the_sums(limit, steady, shifted):
    either = 1 / (2 / sum_run_length(0.5, limit, 0.0))
    one, other = sum_run_length(0.5, limit, 1.0), sum_run_length(0.5, limit, -1.0)

    assert either == pytest.approx(steady, rel=0.005)
    assert 1 / (1 / one + 1 / other) == pytest.approx(shifted, rel=0.005)


def test_our_charts_run_as_long_as_the_chain_says():
    """800 series of 200 values each, seeded, with a shift of one deviation from the start."""
    rng, steady = np.random.default_rng(11), Centre(0.0, 1.0, 50)
    first: dict[str, list[int]] = {"mean": [], "sum": [], "one": []}
    for series in rng.normal(1.0, 1.0, size=(800, 200)):
        first["mean"].append(ewma_chart(series, steady, EWMA_WEIGHT, EWMA_WIDTH).signals[0] + 1)
        first["sum"].append(cumulative_sums(series, 0.0, 0.5, 5.0).signals[0] + 1)
        first["one"].append(next(iter(individuals_chart(series, steady).signals), 199) + 1)
    spread = {name: 4 * np.std(found) / np.sqrt(800) for name, found in first.items()}

    # limits that widen from the start find an early shift sooner than the chain's fixed ones
    assert np.mean(first["mean"]) < ewma_run_length(EWMA_WEIGHT, EWMA_WIDTH, 1.0)
    assert np.mean(first["mean"]) > 0.7 * ewma_run_length(EWMA_WEIGHT, EWMA_WIDTH, 1.0)
    assert np.mean(first["sum"]) == pytest.approx(sum_run_length(0.5, 5, 1.0), abs=spread["sum"])
    one = 1 / (norm.sf(3 - 1) + norm.cdf(-3 - 1))
    assert np.mean(first["one"]) == pytest.approx(one, abs=spread["one"])
