"""Distributions: their draws follow them, their uncertainty is theirs, nonsense is refused."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.distributions import (
    CurvilinearTrapezoid,
    Gaussian,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
    UShaped,
)

KNOWN = [
    (Gaussian(5.0, 0.3), stats.norm(5.0, 0.3)),
    (StudentT(5.0, 0.3, 4), stats.t(4, 5.0, 0.3)),
    (Rectangular(2.0, 6.0), stats.uniform(2.0, 4.0)),
    (Triangular(2.0, 6.0), stats.triang(0.5, 2.0, 4.0)),
    (Trapezoidal(2.0, 6.0, 0.4), stats.trapezoid(0.3, 0.7, 2.0, 4.0)),
    (Trapezoidal(2.0, 6.0, 0.0), stats.triang(0.5, 2.0, 4.0)),
    (Trapezoidal(2.0, 6.0, 1.0), stats.uniform(2.0, 4.0)),
    (CurvilinearTrapezoid(2.0, 6.0, 0.0), stats.uniform(2.0, 4.0)),
    (UShaped(2.0, 6.0), stats.arcsine(2.0, 4.0)),
]


@pytest.mark.parametrize(("ours", "theirs"), KNOWN, ids=[str(ours) for ours, _ in KNOWN])
def test_draws_follow_the_distribution_of_a_reference_library(ours, theirs):
    drawn = ours.draw(np.random.default_rng(3), 20_000)

    assert stats.kstest(drawn, theirs.cdf).pvalue > 0.01


@pytest.mark.parametrize(("ours", "theirs"), KNOWN, ids=[str(ours) for ours, _ in KNOWN])
def test_value_and_uncertainty_are_mean_and_deviation(ours, theirs):
    assert ours.value == pytest.approx(theirs.mean(), rel=1e-12)
    if isinstance(ours, StudentT):  # a budget uses s/√n, narrower than the distribution
        assert ours.uncertainty * sqrt(4 / (4 - 2)) == pytest.approx(theirs.std(), rel=1e-12)
    else:
        assert ours.uncertainty == pytest.approx(theirs.std(), rel=1e-12)


def test_inexact_ends_widen_a_rectangle_as_their_formula_says():
    known = CurvilinearTrapezoid(-1.0, 1.0, 0.5)
    drawn = known.draw(np.random.default_rng(4), 400_000)

    assert known.uncertainty == pytest.approx(sqrt(1 / 3 + 0.25 / 9), rel=1e-12)
    assert drawn.std() == pytest.approx(known.uncertainty, rel=3e-3)
    assert np.abs(drawn).max() <= 1.5


def test_the_same_seed_draws_the_same_values():
    for known, _ in KNOWN:
        one, other = (known.draw(np.random.default_rng(9), 50) for _ in range(2))
        assert one.tolist() == other.tolist()


def test_only_a_mean_of_readings_and_what_is_told_have_finite_degrees():
    assert StudentT(0.0, 1.0, 4).degrees == 4
    assert Gaussian(0.0, 1.0, 12).degrees == 12
    assert Gaussian(0.0, 1.0).degrees == Rectangular(0.0, 1.0).degrees == float("inf")


WRONG = {
    "negative": lambda: Gaussian(0.0, -1.0),
    "no value": lambda: Gaussian(float("nan"), 1.0),
    "no degrees": lambda: StudentT(0.0, 1.0, 0),
    "reversed": lambda: Rectangular(1.0, 0.0),
    "endless": lambda: Triangular(0.0, float("inf")),
    "wider top": lambda: Trapezoidal(0.0, 1.0, 1.1),
    "crossing ends": lambda: CurvilinearTrapezoid(0.0, 1.0, 0.6),
    "no end": lambda: UShaped(float("nan"), 1.0),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_knowledge_that_is_none_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()
