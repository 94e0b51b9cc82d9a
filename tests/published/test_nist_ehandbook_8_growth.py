"""Reliability growth against the NIST/SEMATECH e-Handbook, 8.2.2.3, 8.2.3.4 and 8.4.5.2.

The failure times and the test's end are the handbook's; the intervals were recomputed by summing
the conditional distribution, and agree with its tables to the digits printed there.
"""

import pytest

from spinproof.stats.growth import fit_growth, trend_tests

pytestmark = pytest.mark.source("NIST/SEMATECH e-Handbook 8.2, 8.4", kind="published")

TIMES = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
END = 1500


def test_the_power_law_of_the_case_study():
    growth = fit_growth(TIMES, END, confidence=0.8)

    assert growth.shape == pytest.approx(0.5372289, abs=1e-7)
    assert 1 - growth.shape_less_biased == pytest.approx(0.516494, abs=1e-6)
    assert growth.mean_between == pytest.approx(279.2106, abs=1e-4)
    assert (growth.low, growth.high) == pytest.approx((153.316, 596.274), abs=0.05)
    wider = fit_growth(TIMES, END, confidence=0.9)
    assert (wider.low, wider.high) == pytest.approx((132.85, 718.91), abs=0.05)


def test_the_three_trend_tests_of_the_case_study():
    laplace, handbook, arrangements = trend_tests(TIMES, END)

    assert laplace.statistic == pytest.approx(-1.326949, abs=1e-6)
    assert laplace.chance == pytest.approx(0.09226, abs=1e-5)
    assert handbook.statistic == pytest.approx(37.22808, abs=1e-5)
    assert handbook.chance == pytest.approx(0.0109864, abs=1e-7)
    assert arrangements.statistic == 33
    assert arrangements.chance == pytest.approx(0.0362751, abs=1e-7)
