"""Two counts against Krishnamoorthy and Thomson, J. Stat. Plan. Inference 119, 23 (2004).

The chances come by the exact binomial distribution and by scipy's test of two Poisson means, whose
documented example is the paper's; the score interval is recomputed by a grid of likelihoods.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import binom, poisson_means_test

from spinproof.stats.counts import adders

pytestmark = pytest.mark.source("Krishnamoorthy, Thomson 2004", kind="independent route")


@pytest.mark.source("Krishnamoorthy, Thomson 2004, seeds in scipy's example", kind="published")
def test_the_documented_example_of_the_reference_library_stands():
    """None in 100 grams beside 3 in 100: p = 0.0884 for either direction."""
    theirs = poisson_means_test(0, 100, 3, 100)

    assert theirs.pvalue == pytest.approx(0.088379, abs=1e-6)
    assert adders(0, 3).chance_sharp == pytest.approx(theirs.pvalue / 2, abs=1e-6)


@pytest.mark.parametrize(
    ("before", "after", "exact", "sharp"),
    [(3, 9, 0.072998, 0.043419), (5, 12, 0.071732, 0.048388)],
)
def test_the_chance_of_so_many_after_when_nothing_was_added(before, after, exact, sharp):
    found = adders(before, after)

    assert found.chance == pytest.approx(exact, abs=1e-6)
    assert found.chance == pytest.approx(binom.sf(after - 1, before + after, 0.5), rel=1e-12)
    assert found.chance_sharp == pytest.approx(sharp, abs=1e-6)


@pytest.mark.parametrize(
    ("before", "after", "low", "high"), [(3, 9, -0.9344, 14.4461), (5, 12, -1.2151, 16.5340)]
)
def test_the_score_interval_of_the_difference(before, after, low, high):
    """At each end the score is 1.96, with the means that the likelihood likes best there."""
    found = adders(before, after)

    assert (found.lower, found.upper) == pytest.approx((low, high), abs=5e-5)
    for end in (found.lower, found.upper):
        least = max(0.0, -end)

        def unlikely(first, end=end):
            return 2 * first + end - before * np.log(first) - after * np.log(first + end)

        best = minimize_scalar(
            unlikely, bounds=(least + 1e-9, 40.0), method="bounded", options={"xatol": 1e-10}
        ).x
        score = (after - before - end) / np.sqrt(2 * best + end)
        assert abs(score) == pytest.approx(1.959964, abs=1e-4)
