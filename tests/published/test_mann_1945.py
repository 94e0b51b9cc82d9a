"""Trend and change point: a worked series, Kendall's tau of SciPy, and the flow of the Nile.

The Nile's annual flow at Aswan, 1871 to 1970, ships with statsmodels; its break after 1898 is in
Cobb, Biometrika 65, 243 (1978).
"""

import numpy as np
import pytest
from scipy.stats import kendalltau
from statsmodels.datasets import nile

from spinproof.stats.drift import change_point, false_discoveries, trend_of

pytestmark = pytest.mark.source(
    "Mann 1945; Pettitt 1979; Benjamini, Hochberg 1995", kind="published"
)

TIED = (5, 6, 7, 8, 7, 9, 10, 9, 11, 12, 11, 13)
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_a_series_with_ties():
    trend = trend_of(TIED)

    assert trend.score == 57
    assert trend.variance == pytest.approx(209.6667, abs=1e-4)
    assert trend.chance == pytest.approx(1.09985e-4, rel=1e-4)
    assert (trend.slope, trend.low, trend.high) == pytest.approx(
        (0.666667, 0.555556, 0.8), abs=1e-6
    )


def test_the_handbooks_flow():
    trend = trend_of(FLOW)

    assert (trend.score, trend.variance) == (27, 125)
    assert trend.chance == pytest.approx(0.020045, abs=1e-6)
    assert (trend.slope, trend.low, trend.high) == pytest.approx((0.5, 0.15, 0.86))


def test_the_score_is_kendalls():
    values = np.random.default_rng(4).normal(size=40).cumsum()
    pairs = 40 * 39 / 2

    assert trend_of(values).score / pairs == pytest.approx(
        kendalltau(np.arange(40), values).statistic
    )


def test_the_nile_fell_after_1898():
    flow = nile.load_pandas().data["volume"].to_numpy()
    found = change_point(flow)

    assert found.first_after == 28
    assert found.statistic == 1617
    assert found.chance == pytest.approx(3.591e-7, rel=1e-3)
    assert (found.before, found.after) == pytest.approx((1097.75, 849.972), abs=1e-3)


def test_the_fifteen_chances_of_benjamini_and_hochberg():
    chances = (
        *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
        *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
    )

    assert false_discoveries(chances).tolist() == [True] * 4 + [False] * 11
