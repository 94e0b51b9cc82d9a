"""Numbers in print: the digits that the uncertainty supports, no certainty that is not there."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.dossier.numbers import (
    bound,
    bound_in_percent,
    interval,
    margin_in_words,
    with_uncertainty,
)
from spinproof.model.judgement import Metric
from spinproof.model.limit import Basis, Limit


@given(st.floats(-1e5, 1e5), st.floats(1e-5, 1e4))
def test_value_and_uncertainty_end_at_the_same_digit(value, uncertainty):
    shown, expanded = with_uncertainty(value, uncertainty).replace("−", "-").split(" ± ")

    assert len(shown.partition(".")[2]) == len(expanded.partition(".")[2])
    assert float(expanded) == pytest.approx(2 * uncertainty, rel=0.051)
    assert abs(float(shown) - value) <= 0.051 * 2 * uncertainty + 1e-9


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (1.42, 0.09, "1.42 ± 0.18"),
        (0.0, 0.0498, "0.00 ± 0.10"),
        (1750.2, 12.0, "1750 ± 24"),
        (1750.2, 120.0, "1750 ± 240"),
        (-0.04, 0.5, "0.0 ± 1.0"),
        (17.25, None, "17.25"),
        (3.0, 0.0, "3"),
    ],
)
def test_a_value_prints_with_the_digits_that_its_uncertainty_supports(value, uncertainty, text):
    assert with_uncertainty(value, uncertainty) == text


@pytest.mark.parametrize(
    ("lower", "upper", "unit", "text"),
    [
        (None, 4.5, "mm/s", "≤ 4.5 mm/s"),
        (2.2, None, "bar_g", "≥ 2.2 bar (gauge)"),
        (-1.0, 1.0, "%", "± 1 %"),
        (13.5, 16.5, "L/min", "13.5 to 16.5 L/min"),
        (None, 0.0, "1", "≤ 0"),
        (-0.5, 2.0, "s", "−0.5 to 2 s"),
    ],
)
def test_a_limit_prints_as_its_interval(lower, upper, unit, text):
    limit = Limit(metric="x", lower=lower, upper=upper, unit=unit, basis=Basis.CUSTOMER, source="y")

    assert interval(limit) == text


@given(st.floats(0, 1))
def test_a_bound_is_never_printed_as_certain(probability):
    assert float(bound(probability)) <= 0.9999
    assert bound_in_percent(probability) != "100.00 %"
    assert float(bound(probability)) == pytest.approx(min(probability, 0.9999), abs=5.1e-5)


def test_a_margin_is_rounded_as_its_value_and_says_its_side():
    near = Metric(name="vibration", unit="mm/s", value=4.41, uncertainty=0.048, margin=0.0913)
    beyond = near.model_copy(update={"margin": -1.2345, "uncertainty": None})

    assert margin_in_words(near) == "0.091 mm/s inside"
    assert margin_in_words(beyond) == "1.2345 mm/s outside"
    assert margin_in_words(near.model_copy(update={"margin": None})) == ""
