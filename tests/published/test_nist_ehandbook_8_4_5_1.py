"""Mean time between failures from a count and a time, NIST/SEMATECH e-Handbook 8.4.5.1.

The tool prints none of these: the last case shows how little a burn-in of six hours says.
"""

import pytest
from scipy.stats import chi2

from spinproof.stats.counts import count_interval, count_upper_bound

pytestmark = pytest.mark.source("NIST/SEMATECH e-Handbook 8.4.5.1", kind="published")


@pytest.mark.parametrize(
    ("hours", "failures", "coverage", "low", "high"),
    [(800, 2, 0.9, 127.069, 2251.229), (3200, 6, 0.8, 303.834, 1015.261)],
)
def test_the_interval_of_a_mean_time_is_that_of_its_count(hours, failures, coverage, low, high):
    fewest, most = count_interval(failures, coverage)

    assert (hours / most, hours / fewest) == pytest.approx((low, high), abs=2e-3)
    assert hours / most == pytest.approx(
        2 * hours / chi2.ppf((1 + coverage) / 2, 2 * failures + 2), rel=1e-9
    )


def test_six_hours_without_a_failure_say_two_hours():
    assert 5.9733 / count_upper_bound(0, 0.95) == pytest.approx(1.99395, abs=1e-4)
