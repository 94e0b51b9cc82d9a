"""Many outliers in one series: the 54 values of Rosner's paper and the figures for them.

Values and figures as the NIST/SEMATECH e-Handbook, 1.3.5.17.3, carries them over (from memory; that
the statistics below come out, the third decimal cut off, confirms the values).
"""

import numpy as np
import pytest
from scipy.stats import t

from spinproof.stats.outliers import outliers_of

pytestmark = pytest.mark.source("B. Rosner, Technometrics 25, 165-172 (1983)", kind="published")

VALUES = np.fromstring(
    "-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69 1.70 "
    "1.76 1.77 1.81 1.91 1.94 1.96 1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40 "
    "2.47 2.54 2.62 2.64 2.90 2.92 2.92 2.93 3.21 3.26 3.30 3.59 3.68 4.30 4.64 5.34 5.42 6.01",
    sep=" ",
)
STATISTICS = (3.118, 2.942, 3.179, 2.810, 2.815, 2.848)
LIMITS = (3.158, 3.151, 3.143, 3.136, 3.128, 3.120)


def test_three_values_are_outliers_though_the_first_two_alone_are_not():
    found = outliers_of(VALUES, 0.05, most=10)

    assert [VALUES[each.place] for each in found] == [5.34, 5.42, 6.01]
    assert outliers_of(VALUES, 0.05, most=2) == ()


def test_the_figures_are_those_of_the_paper():
    left = VALUES
    for i, (statistic, limit) in enumerate(zip(STATISTICS, LIMITS, strict=True), start=1):
        n = VALUES.size
        apart = np.abs(left - left.mean())
        at = t.isf(0.05 / (2 * (n - i + 1)), n - i - 1)
        assert apart.max() / left.std(ddof=1) == pytest.approx(statistic, abs=1e-3)
        assert (n - i) * at / np.sqrt((n - i - 1 + at**2) * (n - i + 1)) == pytest.approx(
            limit, abs=1e-3
        )
        left = np.delete(left, np.argmax(apart))
