"""Risks of decisions: they add up, they fall with a better measurement, they are bounded."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.decision_rules import GUARDED, GUARDED_BY_U, SIMPLE, ByRisk, Guarded
from spinproof.stats.distributions import Gaussian
from spinproof.stats.risk import (
    global_risks,
    risks_at_ratio,
    uncertainty_ratio,
    worst_false_acceptance,
)


@given(
    centre=st.floats(-1, 1),
    deviation=st.floats(0.05, 3),
    uncertainty=st.floats(0.005, 1),
    rule=st.sampled_from([SIMPLE, GUARDED, GUARDED_BY_U, ByRisk(0.9)]),
)
def test_risks_are_probabilities_that_add_up(centre, deviation, uncertainty, rule):
    risks = global_risks(Gaussian(centre, deviation), uncertainty, -1.0, 1.0, rule)

    assert 0 <= risks.consumer <= 1 - risks.conforming + 1e-12
    assert 0 <= risks.producer <= risks.conforming
    assert 0 <= risks.accepted <= 1
    assert risks.false_share <= 1


@given(deviation=st.floats(0.1, 2), uncertainty=st.floats(0.01, 0.4), factor=st.floats(0, 2))
def test_a_wider_guard_protects_the_customer_and_costs_the_maker(deviation, uncertainty, factor):
    items = Gaussian(0.0, deviation)
    simple = global_risks(items, uncertainty, -1.0, 1.0)
    guarded = global_risks(items, uncertainty, -1.0, 1.0, Guarded(factor))

    assert guarded.consumer <= simple.consumer + 1e-12
    assert guarded.producer >= simple.producer - 1e-12


def test_one_limit_has_its_risks_too():
    items = Gaussian(0.0, 1.0)
    upper = global_risks(items, 0.2, None, 1.0, GUARDED)
    lower = global_risks(items, 0.2, -1.0, None, GUARDED)

    assert upper.consumer == pytest.approx(lower.consumer, rel=1e-12)
    assert upper.producer == pytest.approx(lower.producer, rel=1e-12)
    assert upper.conforming == pytest.approx(0.841345, abs=1e-6)


def test_guards_that_leave_nothing_between_them_accept_nothing():
    risks = global_risks(Gaussian(0.0, 0.5), 1.0, -1.0, 1.0, GUARDED)

    assert risks.consumer == 0
    assert risks.accepted == pytest.approx(0, abs=1e-15)
    assert risks.false_share == 0
    assert risks.producer == risks.conforming


@given(ratio=st.floats(1, 12))
def test_no_population_is_worse_than_the_worst(ratio):
    worst = worst_false_acceptance(ratio)

    for conforming in np.linspace(0.05, 0.995, 12):
        assert risks_at_ratio(ratio, float(conforming)).consumer <= worst + 1e-7


def test_a_ratio_needs_two_limits_and_grows_without_uncertainty():
    assert uncertainty_ratio(0.5, None, 2.0) is None
    assert uncertainty_ratio(0.5, 1.0, None) is None
    assert uncertainty_ratio(0.0, -1.0, 1.0) == inf


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: uncertainty_ratio(-1.0, 0.0, 1.0),
        lambda: uncertainty_ratio(float("nan"), 0.0, 1.0),
        lambda: global_risks(Gaussian(0.0, 0.0), 0.1, -1.0, 1.0),
        lambda: global_risks(Gaussian(0.0, 1.0), 0.0, -1.0, 1.0),
        lambda: risks_at_ratio(0.0, 0.9),
        lambda: risks_at_ratio(4.0, 1.0),
        lambda: worst_false_acceptance(-1.0),
    ],
    ids=["negative", "nan", "no spread", "no uncertainty", "no ratio", "all conform", "below 0"],
)
def test_numbers_without_risks_are_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()
