"""Limits beside metrics: units, strangers, rounding, and never a silent pass."""

import re
from pathlib import Path

import pytest
from tests.demo_files import CR_1, LIMITS

from spinproof.judge.verdicts import UNITS, judged, measured, missing, rounded
from spinproof.model.errors import DocumentError
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.limit import Basis, DecisionRule, Limit, LimitSet
from spinproof.model.metric_words import METRIC_WORDS
from spinproof.model.recipe import StepKind

PAGE = Path(__file__).parents[2] / "docs" / "metrics.md"


def limit_on(metric, unit, **more):
    facts = {"upper": 2.0, "basis": Basis.SHOP_RULE, "source": "test"} | more
    return LimitSet(name="test limits", limits=(Limit(metric=metric, unit=unit, **facts),))


def test_a_verdict_prints_the_rule_it_was_made_by():
    guarded, simple = (
        judged([measured("vent_time", 1.9, 0.1)], CR_1, limit_on("vent_time", "s", rule=rule))[0]
        for rule in (DecisionRule.GUARDED, DecisionRule.SIMPLE)
    )

    assert (guarded.verdict, simple.verdict) == (Verdict.UNDECIDED, Verdict.PASS)
    assert guarded.rule.startswith("guarded by 1.645 u")
    assert simple.rule.startswith("simple")
    assert guarded.conformance == pytest.approx(0.841345)
    assert guarded.margin == simple.margin == pytest.approx(0.1)


def test_a_verdict_says_when_the_uncertainty_is_large_beside_the_tolerance():
    wide = limit_on("vent_time", "s", lower=1.0, rule=DecisionRule.SIMPLE)
    (metric,) = judged([measured("vent_time", 1.9, 0.1)], CR_1, wide)

    assert metric.margin == pytest.approx(0.1)
    assert metric.remark.startswith("the tolerance is only 2.5 times the expanded uncertainty")


def test_a_judgement_of_an_earlier_release_keeps_its_bytes():
    """Fields that came later are left out while they are empty."""
    (metric,) = judged([measured("vent_time", 1.5, 0.1)], CR_1, limit_on("vent_time", "s"))
    earlier = {k: v for k, v in metric.to_document().items() if k not in {"margin", "remark"}}

    assert set(metric.to_document()) - set(earlier) == {"margin"}
    assert Metric.from_document(earlier).to_document() == earlier
    assert Metric.from_document(metric.to_document()) == metric


def test_a_limit_on_what_was_not_measured_is_not_passed():
    metric = judged([missing("vent_time", "no reason")], CR_1, limit_on("vent_time", "s"))[0]

    assert metric.verdict is Verdict.NOT_MEASURED
    assert metric.limit is not None


def test_a_limit_on_an_unknown_metric_is_not_passed_either():
    (metric,) = judged([], CR_1, limit_on("shininess", "1"))

    assert metric.verdict is Verdict.NOT_MEASURED
    assert "knows no metric of this name" in metric.note


def test_a_limit_in_another_unit_is_refused_with_the_right_one():
    with pytest.raises(DocumentError, match=r'in "ms".*in "s"'):
        judged([], CR_1, limit_on("vent_time", "ms"))


def test_a_limit_for_a_kind_of_step_on_a_metric_of_the_run_is_refused():
    with pytest.raises(DocumentError, match="belongs to the whole run"):
        judged([], CR_1, limit_on("vent_time", "s", step_kind=StepKind.DRY))


def test_a_metric_without_a_limit_has_no_verdict():
    (metric,) = judged([measured("coast_time", 55.0, 0.1)], CR_1, limit_on("vent_time", "s"))

    assert metric.verdict is None
    assert metric.limit is None


def test_a_reading_that_is_no_number_becomes_a_missing_metric():
    assert measured("vent_time", float("nan"), 0.1).value is None
    assert measured("vent_time", 1.0, float("nan")).verdict is Verdict.NOT_MEASURED


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [
        (7.1e-15, 0.02, 0.0),
        (1749.987654321, 0.35, 1749.99),
        (1234567.891, 0.0, 1234570.0),
        (-0.0, 0.0, 0.0),
        (0.123456789, 0.0, 0.123457),
    ],
)
def test_digits_that_mean_nothing_are_rounded_away(value, uncertainty, expected):
    assert rounded(value, uncertainty) == expected


def test_the_demo_s_limits_fit_the_metrics():
    assert {limit.metric for limit in LIMITS.limits} <= UNITS.keys()
    assert all(UNITS[limit.metric] == limit.unit for limit in LIMITS.limits)


def test_every_metric_has_words_of_its_own():
    assert METRIC_WORDS.keys() == UNITS.keys()
    assert len(set(METRIC_WORDS.values())) == len(METRIC_WORDS)


def test_every_metric_is_documented_with_its_unit():
    rows = dict(re.findall(r"^\| `(\w+)` \| ([^|]+?) \|", PAGE.read_text(), re.MULTILINE))

    assert rows == UNITS
