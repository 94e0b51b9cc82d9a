"""Too many zeros, too much scatter: van den Broek, Biometrics 51, 738 (1995), and Fisher (1925).

The score is recomputed here as the paper derives it, from the probability of a zero; the index of
dispersion by scipy's chi-square test of equal expected counts.
"""

import numpy as np
import pytest
from scipy.stats import chi2, chisquare

from spinproof.stats.counts import dispersion, excess_zeros

pytestmark = pytest.mark.source("van den Broek 1995; Fisher 1925", kind="independent route")

DROPLETS = [0] * 18 + [1] * 3 + [2] * 2 + [5] * 2  # on 25 wafers


def test_the_score_for_too_many_zeros():
    score, chance = excess_zeros(DROPLETS)
    p = np.exp(-0.68)
    excess = np.sum((np.array(DROPLETS) == 0) - p) / p
    variance = 25 * (1 - p) / p - 25 * 0.68

    assert score == pytest.approx(15.0915, abs=5e-5)
    assert score == pytest.approx(excess**2 / variance, rel=1e-9)
    assert chance == pytest.approx(chi2.sf(score, 1), rel=1e-9)
    assert chance == pytest.approx(1.02e-4, abs=5e-7)


def test_the_index_of_dispersion_is_a_chi_square_of_equal_counts():
    counts = [3, 1, 0, 2, 7, 0, 1, 4]
    index, chance = dispersion(counts)
    theirs = chisquare(counts)

    assert index == pytest.approx(17.5556, abs=5e-5)
    assert (index, chance) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-9)
