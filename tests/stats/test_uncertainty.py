"""Budgets: shares add up, correlations and curvature count, nonsense is refused."""

from math import exp, hypot, inf, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.correlation import correlation_matrix
from spinproof.stats.distributions import Gaussian, Rectangular
from spinproof.stats.readings import mean_of_readings, simultaneous_readings
from spinproof.stats.sensitivity import curvature_variance, sensitivities
from spinproof.stats.straight_line import calibration_line
from spinproof.stats.uncertainty import (
    Input,
    budget,
    coverage_factor,
    effective_degrees,
    joint_covariance,
)


def pair(one=1.0, other=2.0, u=0.3, v=0.4):
    return [Input("a", Gaussian(one, u)), Input("b", Gaussian(other, v))]


def first(*inputs):
    return inputs[0]


def constant_model(*_inputs):
    return 7.0


@given(one=st.floats(0.5, 9), other=st.floats(0.5, 9), u=st.floats(0.001, 2), v=st.floats(0.001, 2))
def test_the_shares_of_independent_inputs_add_up_to_one(one, other, u, v):
    product = budget(lambda a, b: a * b, pair(one, other, u, v))

    assert sum(line.share for line in product.contributions) == pytest.approx(1)
    assert product.uncertainty == pytest.approx(hypot(other * u, one * v), rel=1e-6)
    assert product.correlation_share == 0
    assert product.degrees == inf


@given(r=st.floats(-1, 1))
def test_correlation_widens_a_sum_and_narrows_a_difference(r):
    total = budget(lambda a, b: a + b, pair(), {("a", "b"): r})
    difference = budget(lambda a, b: a - b, pair(), {("b", "a"): r})
    shares = sum(line.share for line in total.contributions) + total.correlation_share

    assert total.uncertainty**2 == pytest.approx(0.25 + 0.24 * r, abs=1e-9)
    assert difference.uncertainty**2 == pytest.approx(0.25 - 0.24 * r, abs=1e-9)
    assert shares == pytest.approx(1)


def test_known_slopes_give_the_same_budget_as_differences():
    found = budget(lambda a, b: a * b, pair())
    given_ = budget(lambda a, b: a * b, pair(), slopes=[2.0, 1.0])

    assert given_.uncertainty == pytest.approx(found.uncertainty, rel=1e-9)
    assert [line.sensitivity for line in given_.contributions] == [2.0, 1.0]


@given(x=st.floats(-2, 2), u=st.floats(0.001, 0.3))
def test_a_difference_is_the_slope_of_a_smooth_model(x, u):
    (slope,) = sensitivities(np.exp, [x], [u])

    assert slope == pytest.approx(exp(x), rel=(0.1 * u) ** 2)


def test_curvature_adds_what_the_derivatives_say():
    """The model x y² at (2, 3) with u = 0.1 and 0.2, and x³ at 1: the terms written out."""
    u, v = 0.1, 0.2
    mixed = 0.5 * 2 * (6 * u * v) ** 2 + 0.5 * (4 * v**2) ** 2 + (9 * u) * (2 * u * v**2)

    assert curvature_variance(lambda x, y: x * y**2, [2.0, 3.0], [u, v]) == pytest.approx(
        mixed, rel=1e-6
    )
    assert curvature_variance(lambda x: x**3, [1.0], [0.2]) == pytest.approx(36 * 0.2**4, rel=2e-3)
    assert curvature_variance(lambda x, y: x * y**2, [2.0, 3.0], [u, 0.0]) == pytest.approx(
        0, abs=1e-9
    )


def test_an_input_without_uncertainty_has_a_slope_but_no_share():
    exact = budget(lambda a, b: a * b, pair(v=0.0), curved=True)

    assert exact.contributions[1].sensitivity == pytest.approx(1.0, rel=1e-6)
    assert exact.contributions[1].share == 0
    assert exact.uncertainty == pytest.approx(0.6, rel=1e-9)


def test_a_result_that_follows_nothing_has_no_uncertainty():
    constant = budget(constant_model, pair())

    assert (constant.value, constant.uncertainty, constant.degrees) == (7.0, 0.0, inf)
    assert constant.interval() == (7.0, 7.0)


def test_the_interval_is_the_value_plus_and_minus_the_expanded_uncertainty():
    total = budget(lambda a, b: a + b, pair())

    assert total.expanded() == pytest.approx(1.959964 * 0.5, rel=1e-6)
    assert total.interval(0.6827) == pytest.approx((2.5, 3.5), abs=1e-4)


def test_an_input_tells_its_own_degrees_or_those_of_its_distribution():
    readings = mean_of_readings("a", [1.0, 2.0, 3.0, 4.0])
    doubtful = Input("b", Rectangular(-1.0, 1.0), 8)

    assert readings.degrees == 3
    assert doubtful.degrees == 8
    assert Input("c", Rectangular(-1.0, 1.0)).degrees == inf
    assert budget(lambda a, b: a + b, [readings, doubtful]).degrees == pytest.approx(
        (5 / 12 + 1 / 3) ** 2 / ((5 / 12) ** 2 / 3 + (1 / 3) ** 2 / 8)
    )


def test_correlated_inputs_keep_the_fewest_degrees():
    inputs, tied = simultaneous_readings(["a", "b"], [[1.0, 2.0, 4.0], [3.0, 3.5, 4.5]])

    assert budget(lambda a, b: a + b, inputs, tied).degrees == 2
    assert budget(lambda a, b: a + b, pair(), {("a", "b"): 0.5}).degrees == inf


def test_readings_that_never_vary_are_certain_and_tied_to_nothing():
    inputs, tied = simultaneous_readings(["a", "b"], [[2.0, 2.0], [1.0, 3.0]])

    assert inputs[0].distribution.uncertainty == 0
    assert tied == {}


@given(
    slope=st.floats(-5, 5),
    intercept=st.floats(-5, 5),
    origin=st.floats(-3, 3),
    at=st.floats(-10, 10),
)
def test_points_on_a_line_give_that_line_without_uncertainty(slope, intercept, origin, at):
    x = np.array([0.0, 1.0, 2.5, 4.0])
    line = calibration_line(x, intercept + slope * x, origin=origin)
    value, u = line.at(at)

    assert value == pytest.approx(intercept + slope * at, abs=1e-9)
    assert u == pytest.approx(0, abs=1e-9)


def test_two_results_of_the_same_inputs_vary_together():
    values, covariance = joint_covariance([lambda a, b: a + b, first], pair())

    assert values == pytest.approx([3.0, 1.0])
    assert covariance == pytest.approx(np.array([[0.25, 0.09], [0.09, 0.09]]))


def test_few_degrees_ask_for_a_larger_factor():
    factors = [coverage_factor(0.95, degrees) for degrees in (0.5, 1, 2.9, 10, inf)]

    assert factors == sorted(factors, reverse=True)
    assert coverage_factor(0.95, 2.9) == coverage_factor(0.95, 2)


WRONG = {
    "no inputs": lambda: budget(lambda: 1.0, []),
    "curved and tied": lambda: budget(first, pair(), {("a", "b"): 0.5}, curved=True),
    "one slope short": lambda: budget(first, pair(), slopes=[1.0]),
    "no number": lambda: budget(lambda a, b: np.sqrt(a - b), pair()),
    "infinite": lambda: budget(lambda a, b: b / np.float64(a - 1.0), pair()),
    "names twice": lambda: budget(first, [*pair(), *pair()]),
    "stranger": lambda: correlation_matrix(["a", "b"], {("a", "c"): 0.1}),
    "with itself": lambda: correlation_matrix(["a", "b"], {("a", "a"): 0.1}),
    "above one": lambda: correlation_matrix(["a", "b"], {("a", "b"): 1.1}),
    "contradiction": lambda: correlation_matrix(
        ["a", "b", "c"], {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}
    ),
    "no degrees": lambda: effective_degrees(1.0, [1.0], [0.0]),
    "certain coverage": lambda: coverage_factor(1.0),
    "no degrees to cover": lambda: coverage_factor(0.95, 0.0),
    "one reading": lambda: mean_of_readings("a", [1.0]),
    "a reading missing": lambda: mean_of_readings("a", [1.0, float("nan")]),
    "rows of two lengths": lambda: simultaneous_readings(["a", "b"], [[1.0, 2.0], [1.0]]),
    "two points": lambda: calibration_line([0.0, 1.0], [0.0, 1.0]),
    "one place": lambda: calibration_line([1.0, 1.0, 1.0], [0.0, 1.0, 2.0]),
    "y short": lambda: calibration_line([0.0, 1.0, 2.0], [0.0, 1.0]),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
@pytest.mark.filterwarnings("ignore:divide by zero:RuntimeWarning")
@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")
def test_what_makes_no_budget_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()


def test_the_root_of_the_twelfth_is_a_resolution():
    assert Rectangular(-0.5, 0.5).uncertainty == pytest.approx(1 / sqrt(12))
