"""Control charts against the NIST/SEMATECH e-Handbook, 6.3.2.2 to 6.3.2.4.

The data of the cumulative sum are from memory; its sums were recomputed. The handbook rounds the
factor of the moving range to 1.128; the exact 2/sqrt(pi) moves its limits by 0.002.
"""

import numpy as np
import pytest

from spinproof.stats.charts import (
    Centre,
    centre_of,
    cumulative_sums,
    ewma_chart,
    individuals_chart,
)

pytestmark = pytest.mark.source("NIST/SEMATECH e-Handbook 6.3.2", kind="published")

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
EARLIER = (52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5)
SUMMED = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
)


def test_individuals_and_moving_ranges():
    centre = centre_of(FLOW)
    chart = individuals_chart(FLOW, Centre(centre.mean, 1.8778 / 1.128, 10))

    assert centre.mean == pytest.approx(50.81)
    assert centre.deviation == pytest.approx(1.8778 / 1.128379, abs=1e-4)
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((55.8041, 45.8159), abs=1e-3)
    assert chart.signals == ()
    exact = individuals_chart(FLOW, centre)
    assert exact.upper[0] == pytest.approx(55.8024, abs=1e-4)


def test_the_exponentially_weighted_mean():
    chart = ewma_chart((*EARLIER, *FLOW), Centre(50.0, 2.0539, 50), weight=0.3, width=3.0)

    assert chart.values.round(2).tolist() == [
        *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    ]
    assert chart.upper[:3] == pytest.approx([51.8485, 52.2564, 52.4314], abs=1e-4)
    assert (chart.upper[-1], chart.lower[-1]) == pytest.approx((52.5884, 47.4116), abs=2e-3)
    assert chart.signals == ()


def test_the_cumulative_sum():
    sums = cumulative_sums(SUMMED, 325, 0.3175, 4.1959)

    assert np.mean(SUMMED) == pytest.approx(325.95375)
    assert sums.above[12:] == pytest.approx(
        [3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350], abs=1e-9
    )
    assert sums.below.argmax() == 7
    assert sums.below.max() == pytest.approx(0.7150)
    assert sums.signals[0] == 13
    assert sums.since == 12
