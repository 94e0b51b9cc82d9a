"""Gauge studies: variances found again, edges, refusals."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.gauge_study import gauge_study, reference_study


def simulated(repeat, appraiser, interaction, part, seed):
    """Draw a large study with known standard deviations."""
    g = np.random.default_rng(seed)
    return (
        g.normal(0, part, (200, 1, 1))
        + g.normal(0, appraiser, (1, 60, 1))
        + g.normal(0, interaction, (200, 60, 1))
        + g.normal(0, repeat, (200, 60, 2))
    )


def test_a_large_study_finds_the_variances_it_was_drawn_with():
    study = gauge_study(simulated(0.3, 0.5, 0.4, 2.0, seed=1))

    assert not study.pooled
    assert study.repeatability == pytest.approx(0.09, rel=0.05)
    assert study.interaction == pytest.approx(0.16, rel=0.05)
    assert study.appraiser == pytest.approx(0.25, rel=0.4)  # sixty appraisers tell no more
    assert study.part == pytest.approx(4.0, rel=0.25)
    assert study.reproducibility == study.appraiser + study.interaction


@given(seed=st.integers(0, 500), shift=st.floats(-100, 100), scale=st.floats(0.01, 100))
def test_units_change_nothing_but_the_unit(seed, shift, scale):
    block = np.random.default_rng(seed).normal(0, 1, (4, 3, 2))
    one, other = gauge_study(block), gauge_study(shift + scale * block)

    assert one.pooled == other.pooled
    assert other.total == pytest.approx(scale**2 * one.total, rel=1e-6)
    assert other.distinct_categories == one.distinct_categories
    assert one.cut == other.cut


@given(seed=st.integers(0, 500))
def test_no_variance_is_negative_and_what_was_cut_is_named(seed):
    study = gauge_study(np.random.default_rng(seed).normal(0, 1, (4, 3, 2)), pooling=1.0)
    variances = {
        name: getattr(study, name) for name in ("repeatability", "appraiser", "interaction", "part")
    }

    assert min(variances.values()) >= 0
    assert all(variances[name] == 0 for name in study.cut)


def test_perfect_readings_leave_only_the_parts():
    study = gauge_study(np.arange(3.0)[:, None, None] + np.zeros((3, 2, 2)))

    assert study.gauge == 0
    assert study.study_share(study.part) == 100
    assert study.distinct_categories == 0
    assert study.table[0].ratio == inf


def test_readings_that_never_vary_have_no_shares():
    study = gauge_study(np.ones((3, 2, 2)))

    assert study.total == 0
    assert study.study_share(study.gauge) == 0
    assert study.table[0].ratio == 0


def test_the_tolerance_is_compared_with_six_deviations_of_the_measuring():
    study = gauge_study(simulated(0.1, 0.1, 0.0, 1.0, seed=3))
    expected = 100 * 6 * study.gauge**0.5 / 4

    assert study.tolerance_share(-2.0, 2.0) == pytest.approx(expected)


def test_a_bias_beyond_a_tenth_of_the_tolerance_is_not_capable():
    good = reference_study([10.0, 10.01, 9.99, 10.0], 10.0, 9.0, 11.0)
    biased = reference_study([10.25, 10.26, 10.24, 10.25], 10.0, 9.0, 11.0)

    assert good.capability == pytest.approx(good.potential)
    assert good.bias_chance == pytest.approx(1.0)
    assert biased.potential == pytest.approx(good.potential)
    assert biased.capability < 0
    assert biased.bias_chance < 1e-4


def test_a_reference_that_always_reads_the_same_is_as_good_as_its_bias():
    exact = reference_study([5.0, 5.0], 5.0, 4.0, 6.0)
    off = reference_study([5.5, 5.5], 5.0, 4.0, 6.0)

    assert (exact.potential, exact.capability, exact.bias_chance) == (inf, inf, 1.0)
    assert (off.potential, off.capability, off.bias_chance) == (inf, -inf, 0.0)


WRONG = {
    "two axes": lambda: gauge_study([[1.0, 2.0], [3.0, 4.0]]),
    "one trial": lambda: gauge_study(np.ones((3, 2, 1))),
    "one appraiser": lambda: gauge_study(np.ones((3, 1, 2))),
    "a reading missing": lambda: gauge_study([[[1.0, 2.0], [3.0, np.nan]]] * 2),
    "one reading": lambda: reference_study([1.0], 1.0, 0.0, 2.0),
    "not a number": lambda: reference_study([1.0, np.nan], 1.0, 0.0, 2.0),
    "no interval": lambda: reference_study([1.0, 1.1], 1.0, 2.0, 2.0),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_what_is_no_study_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()
