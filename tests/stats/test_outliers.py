"""Single values that stand out: how often none is there, and what hides what."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.outliers import outliers_of


@pytest.mark.parametrize(("count", "spent"), [(20, 0), (40, 0), (40, 6)])
def test_normal_values_have_no_outlier_but_by_the_stated_chance(count, spent):
    rng, false = np.random.default_rng(1), 0
    for _ in range(600):
        x = rng.standard_normal(count)
        if spent:
            design = np.column_stack((np.ones(count), rng.standard_normal((count, spent))))
            x = x - design @ np.linalg.lstsq(design, x, rcond=None)[0]
        false += bool(outliers_of(x, 0.05, most=1, spent=spent))
    # at 5 % of 600, 45 or more come by chance once in 180 such tests
    assert 15 <= false <= 45


def test_two_far_values_do_not_hide_each_other():
    x = np.random.default_rng(2).standard_normal(30)
    x[[4, 20]] = 8.0, 8.3
    found = outliers_of(x, 0.01)

    assert [each.place for each in found] == [4, 20]
    assert found[0].off == pytest.approx(8, abs=0.5)
    assert found[0].deviations == pytest.approx(8, rel=0.3)


@pytest.mark.parametrize("values", [[], [1.0, 2.0], [3.0] * 20, [0.0] * 19 + [1.0]])
def test_too_few_or_equal_values_have_none(values):
    assert outliers_of(values, 0.05) == ()


@pytest.mark.parametrize(("values", "chance"), [([1.0, np.nan], 0.05), ([1.0] * 9, 0.0)])
def test_what_is_no_series_is_refused(values, chance):
    with pytest.raises(OutOfRangeError):
        outliers_of(values, chance)
