"""Decisions of conformity: monotone, symmetric, and honest between the limits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.model.judgement import Verdict
from spinproof.model.limit import DecisionRule
from spinproof.stats.conformance import conformance_probability
from spinproof.stats.conformity import Standing, decide
from spinproof.stats.decision_rules import (
    GUARDED,
    GUARDED_BY_U,
    RULES,
    SIMPLE,
    ByRisk,
    Guarded,
)
from spinproof.stats.distributions import Gaussian

ORDER = {Verdict.PASS: 0, Verdict.UNDECIDED: 1, Verdict.FAIL: 2}
STANDINGS = list(Standing)
ANY_RULE = st.sampled_from(
    [SIMPLE, GUARDED, GUARDED_BY_U, Guarded(0.5), ByRisk(), ByRisk(0.8, Gaussian(0.0, 2.0))]
)


@given(low=st.floats(-50, 50), step=st.floats(0, 20), uncertainty=st.floats(0, 10), rule=ANY_RULE)
def test_a_reading_further_beyond_an_upper_limit_is_never_judged_better(
    low, step, uncertainty, rule
):
    nearer = decide(low, uncertainty, None, 3.0, rule=rule)
    further = decide(low + step, uncertainty, None, 3.0, rule=rule)

    assert ORDER[further.verdict] >= ORDER[nearer.verdict]
    assert STANDINGS.index(further.standing) >= STANDINGS.index(nearer.standing)
    assert further.conformance <= nearer.conformance
    assert further.margin <= nearer.margin


@given(value=st.floats(-10, 10), uncertainty=st.floats(0, 5), rule=ANY_RULE)
def test_the_standing_and_the_word_never_contradict_one_another(value, uncertainty, rule):
    decision = decide(value, uncertainty, -2.0, 2.0, rule=rule)
    inside = {Standing.PASS_IN_GUARD, Standing.UNDECIDED, Standing.FAIL_IN_GUARD}

    if rule == SIMPLE:
        good = {Standing.PASS, Standing.PASS_IN_GUARD}
        assert decision.verdict is (Verdict.PASS if decision.standing in good else Verdict.FAIL)
    elif decision.verdict is Verdict.UNDECIDED:
        assert decision.standing in inside
    else:
        assert decision.standing.value == decision.verdict.value


@given(value=st.floats(-10, 10), uncertainty=st.floats(0, 5), rule=ANY_RULE)
def test_what_passes_lies_between_the_acceptance_limits_that_are_told(value, uncertainty, rule):
    decision = decide(value, uncertainty, -2.0, 2.0, rule=rule)
    low, high = decision.accepted

    assert (decision.verdict is Verdict.PASS) == (low <= value <= high)


@given(value=st.floats(-5, 5), uncertainty=st.floats(0.01, 3), prior=st.floats(0.1, 5))
def test_by_risk_a_reading_passes_exactly_when_its_probability_suffices(value, uncertainty, prior):
    for rule in (ByRisk(0.9), ByRisk(0.9, Gaussian(0.5, prior))):
        decision = decide(value, uncertainty, -2.0, 2.0, rule=rule)

        if abs(decision.conformance - 0.9) > 1e-9:
            assert (decision.verdict is Verdict.PASS) == (decision.conformance > 0.9)
        if decision.verdict is Verdict.FAIL:
            assert decision.conformance < 0.1 + 1e-9


@given(uncertainty=st.floats(0.01, 10))
def test_at_the_acceptance_limit_the_true_value_conforms_with_95_percent(uncertainty):
    _, high = GUARDED.accepted(uncertainty, None, 3.0)

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
    assert decide(value, 0.1, -2.0, 2.0, rule=GUARDED).verdict is verdict


@pytest.mark.parametrize(("value", "verdict"), [(1.99, Verdict.PASS), (2.01, Verdict.FAIL)])
def test_a_simple_limit_leaves_nothing_undecided(value, verdict):
    decision = decide(value, 0.1, -2.0, 2.0, rule=SIMPLE)

    assert decision.verdict is verdict
    assert decision.rule.startswith("simple")


def test_without_uncertainty_a_reading_on_the_limit_passes_and_a_larger_one_fails():
    on, above = (decide(v, 0.0, None, 0.0, rule=GUARDED) for v in (0.0, 1.0))

    assert (on.verdict, on.conformance) == (Verdict.PASS, 1.0)
    assert decide(0.0, 0.0, 0.0, None).conformance == 1.0
    assert decide(-1.0, 0.0, 0.0, None).conformance == 0.0
    assert (above.verdict, above.conformance) == (Verdict.FAIL, 0.0)


@pytest.mark.parametrize("rule", [GUARDED, ByRisk()])
def test_an_interval_narrower_than_its_guards_accepts_nothing_and_says_so(rule):
    decision = decide(0.0, 1.0, -1.0, 1.0, rule=rule)
    low, high = decision.accepted

    assert decision.verdict is Verdict.UNDECIDED
    assert decision.standing is Standing.UNDECIDED
    assert low > high
    assert decision.remark == (
        "the tolerance is only 0.5 times the expanded uncertainty: "
        "measure with a smaller uncertainty"
    )


@pytest.mark.parametrize(
    ("value", "standing"),
    [
        (1.0, Standing.PASS),
        (1.9, Standing.PASS_IN_GUARD),
        (2.1, Standing.FAIL_IN_GUARD),
        (2.2, Standing.FAIL),
    ],
)
@pytest.mark.parametrize("rule", [SIMPLE, GUARDED, ByRisk()])
def test_every_rule_tells_a_reading_inside_the_guard_band_from_a_clear_one(rule, value, standing):
    assert decide(value, 0.1, -2.0, 2.0, rule=rule).standing is standing


def test_the_margin_is_the_distance_to_the_nearest_limit():
    assert decide(1.5, 0.1, -2.0, 2.0).margin == 0.5
    assert decide(-1.75, 0.1, -2.0, 2.0).margin == 0.25
    assert decide(3.0, 0.1, None, 2.0).margin == -1.0
    assert decide(3.0, 0.1, 2.0, None).margin == 1.0


def test_a_large_uncertainty_beside_the_tolerance_is_told_with_the_risk():
    decision = decide(1510.0, 2.5, 1485.0, 1515.0)

    assert decision.verdict is Verdict.PASS
    assert decision.remark == (
        "the tolerance is only 3 times the expanded uncertainty: "
        "the probability of a false acceptance is 2.3 %"
    )
    assert decide(1500.0, 2.5, 1485.0, 1515.0).remark.endswith("is below 0.1 %")
    assert decide(1510.0, 1.8, 1485.0, 1515.0).remark is None
    assert decide(0.0, 0.125, -1.0, 1.0).remark is None  # U is a quarter of the tolerance
    assert decide(1510.0, 2.5, None, 1515.0).remark is None


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (SIMPLE, "simple: accepted inside the limit, the risk is shared"),
        (GUARDED, "guarded by 1.645 u: at most 5 % risk of accepting at the limit"),
        (GUARDED_BY_U, "guarded by U = 2 u: at most 2.3 % risk of accepting at the limit"),
        (
            ByRisk(0.9, Gaussian(1.5, 0.25)),
            "by risk: accepted when the true value lies inside the limit with a probability of "
            "90 % or more, refused when outside with as much, given 1.5 ± 0.25 (u) beforehand",
        ),
    ],
)
def test_the_rule_is_printed_beside_the_verdict(rule, words):
    assert decide(0.0, 0.1, -2.0, 2.0, rule=rule).rule == words


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Guarded(-1.0),
        lambda: Guarded(float("nan")),
        lambda: ByRisk(0.5),
        lambda: ByRisk(1.0),
        lambda: ByRisk(0.9, Gaussian(0.0, 0.0)),
        lambda: decide(0.0, 0.1, None, None),
    ],
    ids=["negative guard", "no guard", "a coin", "certainty", "known before", "no limit"],
)
def test_a_rule_that_decides_nothing_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()


@given(value=st.floats(-5, 5), uncertainty=st.floats(0, 2))
def test_without_a_rule_the_reading_is_guarded_by_the_usual_factor(value, uncertainty):
    assert decide(value, uncertainty, -2.0, 2.0) == decide(
        value, uncertainty, -2.0, 2.0, rule=GUARDED
    )


@pytest.mark.parametrize(
    ("value", "uncertainty"), [(float("nan"), 1.0), (1.0, float("inf")), (1.0, -0.1)]
)
def test_a_reading_that_is_no_number_decides_nothing(value, uncertainty):
    with pytest.raises(OutOfRangeError, match="decides nothing"):
        decide(value, uncertainty, 0.0, 2.0, rule=GUARDED)


def test_every_rule_that_a_limit_can_name_is_known_to_the_engine():
    assert set(RULES) == set(DecisionRule)
    assert RULES[DecisionRule.GUARDED] == GUARDED
    assert RULES[DecisionRule.SIMPLE] == SIMPLE


def test_every_rule_that_a_limit_can_name_decides_by_itself():
    """A reading 1.8 u inside a one-sided limit: enough for 5 % of risk, too little for U."""
    said = {rule: decide(8.2, 1.0, None, 10.0, rule=RULES[rule]).verdict for rule in DecisionRule}

    assert said == {
        DecisionRule.GUARDED: Verdict.PASS,
        DecisionRule.GUARDED_BY_U: Verdict.UNDECIDED,
        DecisionRule.BY_RISK: Verdict.PASS,
        DecisionRule.SIMPLE: Verdict.PASS,
    }
