"""Decisions of conformity: monotone, symmetric, and honest between the limits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.model.judgement import Verdict
from spinproof.stats.conformity import acceptance_interval, conformance_probability, decide

ORDER = {Verdict.PASS: 0, Verdict.UNDECIDED: 1, Verdict.FAIL: 2}


@given(
    low=st.floats(-50, 50),
    step=st.floats(0, 20),
    uncertainty=st.floats(0, 10),
    guarded=st.booleans(),
)
def test_a_reading_further_beyond_an_upper_limit_is_never_judged_better(
    low, step, uncertainty, guarded
):
    nearer = decide(low, uncertainty, None, 3.0, guarded=guarded)
    further = decide(low + step, uncertainty, None, 3.0, guarded=guarded)

    assert ORDER[further.verdict] >= ORDER[nearer.verdict]
    assert further.conformance <= nearer.conformance


@given(uncertainty=st.floats(0.01, 10))
def test_at_the_acceptance_limit_the_true_value_conforms_with_95_percent(uncertainty):
    _, high = acceptance_interval(uncertainty, None, 3.0, guarded=True)

    assert conformance_probability(high, uncertainty, None, 3.0) == pytest.approx(0.95)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (1.0, Verdict.PASS),
        (1.9, Verdict.UNDECIDED),
        (2.1, Verdict.UNDECIDED),
        (2.2, Verdict.FAIL),
        (-1.9, Verdict.UNDECIDED),
        (-2.2, Verdict.FAIL),
    ],
)
def test_near_a_guarded_limit_the_reading_is_undecided_on_both_sides(value, verdict):
    assert decide(value, 0.1, -2.0, 2.0, guarded=True).verdict is verdict


@pytest.mark.parametrize(("value", "verdict"), [(1.99, Verdict.PASS), (2.01, Verdict.FAIL)])
def test_a_simple_limit_leaves_nothing_undecided(value, verdict):
    decision = decide(value, 0.1, -2.0, 2.0, guarded=False)

    assert decision.verdict is verdict
    assert decision.rule.startswith("simple")


def test_without_uncertainty_a_reading_on_the_limit_passes_and_a_larger_one_fails():
    on, above = (decide(v, 0.0, None, 0.0, guarded=True) for v in (0.0, 1.0))

    assert (on.verdict, on.conformance) == (Verdict.PASS, 1.0)
    assert (above.verdict, above.conformance) == (Verdict.FAIL, 0.0)


def test_an_interval_narrower_than_its_guards_accepts_nothing():
    assert decide(0.0, 1.0, -1.0, 1.0, guarded=True).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("value", "uncertainty"), [(float("nan"), 1.0), (1.0, float("inf")), (1.0, -0.1)]
)
def test_a_reading_that_is_no_number_decides_nothing(value, uncertainty):
    with pytest.raises(OutOfRangeError, match="decides nothing"):
        decide(value, uncertainty, 0.0, 2.0, guarded=True)
