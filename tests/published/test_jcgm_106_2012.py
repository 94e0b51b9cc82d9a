"""Decisions of conformity against JCGM 106:2012.

The guide gives the rules; its lot of resistors (9.5) is given here from memory. The other numbers
come by an independent route, the normal distributions of a reference library.
"""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from spinproof.model.judgement import Verdict
from spinproof.stats.conformance import conformance_probability, updated
from spinproof.stats.conformity import Standing, decide
from spinproof.stats.decision_rules import GUARD_FACTOR, GUARDED, GUARDED_BY_U, ByRisk, Guarded
from spinproof.stats.distributions import Gaussian
from spinproof.stats.risk import global_risks

pytestmark = pytest.mark.source("JCGM 106:2012", kind="independent route")

RESISTORS = Gaussian(1500.0, 0.12)  # Ω; limits 1500 ± 0.2 Ω, u = 0.04 Ω


def test_the_guard_is_the_95_percent_quantile_of_the_normal_distribution():
    assert pytest.approx(norm.ppf(0.95), rel=1e-12) == GUARD_FACTOR
    assert pytest.approx(1.645, abs=5e-4) == GUARD_FACTOR


@pytest.mark.parametrize(
    ("value", "uncertainty", "lower", "upper", "expected"),
    [
        (1510.0, 2.5, 1485.0, 1515.0, 0.977250),
        (17.20, 0.25, 17.00, None, 0.788145),
        (2.55, 0.15, None, 2.80, 0.952210),
        (52.0, 7.5, None, 64.02, 0.945496),
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
    low, _ = GUARDED.accepted(0.25, 17.0, None)

    assert low == pytest.approx(17.41121, abs=5e-6)
    assert decide(17.20, 0.25, 17.0, None).verdict is Verdict.UNDECIDED


def test_a_reading_of_2_55_under_a_limit_of_2_80_passes_one_guard_and_not_the_other():
    """U = 0.30 with k = 2: the guard by 1.645 u accepts up to 2.553, a guard by U only to 2.50."""
    usual, wide = (decide(2.55, 0.15, None, 2.80, rule=rule) for rule in (GUARDED, GUARDED_BY_U))

    assert usual.accepted[1] == pytest.approx(2.5533, abs=5e-5)
    assert usual.verdict is Verdict.PASS
    assert wide.accepted[1] == pytest.approx(2.50, rel=1e-12)
    assert (wide.verdict, wide.standing) == (Verdict.UNDECIDED, Standing.PASS_IN_GUARD)


def test_a_residual_unbalance_of_52_under_64_02_hangs_on_the_rule():
    """U = 15 with k = 2: refused by the guard U, P = 0.9455 by risk."""
    assert decide(52.0, 7.5, None, 64.02, rule=GUARDED_BY_U).verdict is Verdict.UNDECIDED
    assert decide(52.0, 7.5, None, 64.02, rule=ByRisk(0.95)).verdict is Verdict.UNDECIDED
    assert decide(52.0, 7.5, None, 64.02, rule=ByRisk(0.94)).verdict is Verdict.PASS


@pytest.mark.source("JCGM 106:2012, 9.5, lot of resistors", kind="from memory")
def test_the_lot_of_resistors_has_its_printed_risks():
    """1500 ± 0.2 Ω accepted within ± 0.18 Ω: about 1 % consumer's and 7 % producer's risk."""
    risks = global_risks(RESISTORS, 0.04, 1499.8, 1500.2, Guarded(0.5))

    assert risks.consumer == pytest.approx(0.01, abs=5e-4)
    assert risks.producer == pytest.approx(0.07, abs=1.5e-3)
    assert risks.conforming == pytest.approx(0.9044, abs=5e-5)


@pytest.mark.parametrize(
    ("guard", "consumer", "producer"),
    [
        (0.0, 0.018942, 0.037208),
        (0.02, 0.009878, 0.069027),
        (0.04, 0.004334, 0.114657),
        (0.08, 0.000469, 0.247670),
    ],
)
def test_the_risks_equal_those_of_the_joint_normal_distribution(guard, consumer, producer):
    """True value and reading are jointly normal; their box probabilities give both risks."""
    risks = global_risks(RESISTORS, 0.04, 1499.8, 1500.2, Guarded(guard / 0.04))
    joint = multivariate_normal(
        [0.0, 0.0], [[0.12**2, 0.12**2], [0.12**2, 0.12**2 + 0.04**2]], abseps=1e-12, releps=1e-12
    )
    edge, accept = 0.2, 0.2 - guard
    both = joint.cdf([edge, accept], lower_limit=[-edge, -accept])
    accepted = norm.cdf(accept, 0, np.hypot(0.12, 0.04)) * 2 - 1

    assert risks.consumer == pytest.approx(consumer, abs=1e-6)
    assert risks.producer == pytest.approx(producer, abs=1e-6)
    assert risks.consumer == pytest.approx(accepted - both, abs=1e-8)
    assert risks.producer == pytest.approx(risks.conforming - both, abs=1e-8)
    assert risks.accepted == pytest.approx(accepted, abs=1e-8)
    assert risks.false_share == pytest.approx((accepted - both) / accepted, abs=1e-8)


def test_one_resistor_of_the_lot_is_better_known_than_by_its_reading_alone():
    """A reading of 0.17 Ω above the nominal value."""
    known = updated(0.17, 0.04, Gaussian(0.0, 0.12))

    assert known.value == pytest.approx(0.153, abs=1e-9)
    assert known.uncertainty == pytest.approx(0.037947, abs=1e-6)
    assert conformance_probability(0.17, 0.04, -0.2, 0.2) == pytest.approx(0.773373, abs=1e-6)
    assert conformance_probability(0.17, 0.04, -0.2, 0.2, Gaussian(0.0, 0.12)) == pytest.approx(
        0.892246, abs=1e-6
    )
