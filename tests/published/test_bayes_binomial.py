"""The second opinion against closed forms and SciPy's beta distribution; Laplace's rule (1774)."""

import pytest
from scipy.stats import beta

from spinproof.stats.second_opinion import (
    JEFFREYS,
    UNIFORM,
    Prior,
    chance_of_further_clean_runs,
    credible_bound,
)

pytestmark = pytest.mark.source("Laplace 1774; Jeffreys 1946", kind="independent route")


@pytest.mark.parametrize(
    ("runs", "prior", "expected"),
    [
        (50, UNIFORM, 0.05 ** (1 / 51)),
        (50, JEFFREYS, 0.9624989),
        (59, UNIFORM, 0.951297),
        (59, JEFFREYS, 0.968103),
        (56, Prior("nine heads of this type before", 9.5, 0.5), 0.970993),
    ],
)
def test_the_bound_is_a_quantile_of_the_posterior(runs, prior, expected):
    bound = credible_bound(runs, 0, 0.95, prior)

    assert bound == pytest.approx(expected, abs=1e-6)
    assert bound == pytest.approx(beta.ppf(0.05, prior.good + runs, prior.bad), abs=1e-9)


def test_laplaces_rule_of_succession():
    assert chance_of_further_clean_runs(50, 0, 1, UNIFORM) == pytest.approx(51 / 52, rel=1e-9)
    assert chance_of_further_clean_runs(50, 0, 50, UNIFORM) == pytest.approx(51 / 101, rel=1e-9)
    assert chance_of_further_clean_runs(50, 0, 50, JEFFREYS) == pytest.approx(0.707991, abs=1e-6)
