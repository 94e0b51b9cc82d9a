"""Huber's linear fit."""

import numpy as np
import pytest
import statsmodels.api as sm

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.robust_fit import robust_fit


@pytest.mark.source("statsmodels, robust linear model (RLM)", kind="independent route")
def test_the_fit_is_that_of_a_general_purpose_library():
    rng = np.random.default_rng(4)
    features = rng.uniform(0, 10, (40, 3))
    values = 2 + features @ [1.0, -0.5, 0.2] + rng.standard_normal(40)
    values[[3, 30]] += 25
    theirs = sm.RLM(values, sm.add_constant(features), M=sm.robust.norms.HuberT()).fit(
        tol=1e-12, maxiter=500
    )
    np.testing.assert_allclose(robust_fit(values, features).fitted, theirs.fittedvalues, rtol=1e-6)


def test_a_single_bad_run_hardly_pulls_the_fit():
    x = np.arange(20.0)[:, None]
    values = 3 + 2 * x[:, 0] + np.tile([0.1, -0.1], 10)
    values[7] += 100
    assert robust_fit(values, x).residuals[7] == pytest.approx(100, abs=0.5)


def test_constant_and_dependent_features_cost_no_unknown():
    x = np.arange(9.0)
    fit = robust_fit(np.sin(x), np.column_stack((x, 2 * x + 1, np.full(9, 4.0))))
    assert fit.unknowns == 2


def test_values_that_a_line_meets_leave_nothing_over():
    x = np.arange(6.0)[:, None]
    assert np.abs(robust_fit(1 + 3 * x[:, 0], x).residuals).max() < 1e-9


@pytest.mark.parametrize(
    ("values", "features"), [([1.0], [[1.0]]), ([1.0, 2.0], [[1.0]]), ([1.0, np.nan], [[1], [2]])]
)
def test_what_makes_no_fit_is_refused(values: list[float], features: list[list[float]]):
    with pytest.raises(OutOfRangeError, match="make no fit"):
        robust_fit(values, features)
