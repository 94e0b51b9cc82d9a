"""Decisions of conformity against JCGM 106:2012.

The guide gives the rules, not these readings: the numbers come by an independent route, the
normal distribution of a reference library.
"""

import pytest
from scipy.stats import norm

from spinproof.model.judgement import Verdict
from spinproof.stats.conformity import (
    GUARD_FACTOR,
    acceptance_interval,
    conformance_probability,
    decide,
)

pytestmark = pytest.mark.source("JCGM 106:2012", kind="independent route")


def test_the_guard_is_the_95_percent_quantile_of_the_normal_distribution():
    assert pytest.approx(norm.ppf(0.95), rel=1e-12) == GUARD_FACTOR
    assert pytest.approx(1.645, abs=5e-4) == GUARD_FACTOR
    assert norm.sf(1.645) == pytest.approx(0.049985, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "uncertainty", "lower", "upper", "expected"),
    [
        (1510.0, 2.5, 1485.0, 1515.0, 0.977250),
        (17.20, 0.25, 17.00, None, 0.788145),
        (2.55, 0.15, None, 2.80, 0.952210),
    ],
)
def test_the_conformance_probability(value, uncertainty, lower, upper, expected):
    probability = conformance_probability(value, uncertainty, lower, upper)
    low, high = (-1e9 if lower is None else lower), (1e9 if upper is None else upper)

    assert probability == pytest.approx(expected, abs=1e-6)
    assert probability == pytest.approx(
        norm.cdf(high, value, uncertainty) - norm.cdf(low, value, uncertainty), abs=1e-12
    )


def test_the_acceptance_limit_lies_inside_a_lower_limit_by_the_guard():
    """Lower limit 17.00, expanded uncertainty 0.50 with k = 2."""
    low, _ = acceptance_interval(0.25, 17.0, None, guarded=True)

    assert low == pytest.approx(17.41121, abs=5e-6)
    assert decide(17.20, 0.25, 17.0, None, guarded=True).verdict is Verdict.UNDECIDED


def test_a_reading_of_2_55_under_a_limit_of_2_80_passes_by_the_5_percent_guard():
    """U = 0.30 with k = 2: the guard by 1.645 u accepts up to 2.553, a guard by U only to 2.50."""
    _, high = acceptance_interval(0.15, None, 2.80, guarded=True)

    assert high == pytest.approx(2.5533, abs=5e-5)
    assert decide(2.55, 0.15, None, 2.80, guarded=True).verdict is Verdict.PASS
    assert 2.80 - 2 * 0.15 < 2.55
