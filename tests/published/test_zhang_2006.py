"""Means of autocorrelated readings against N. F. Zhang, Metrologia 43, S276 (2006).

The paper gives the formula; the factors come by an independent route, the closed form of its sum
for a first-order process.
"""

import numpy as np
import pytest

from spinproof.signals.means import inflation

pytestmark = pytest.mark.source("N. F. Zhang, Metrologia 43 (2006) S276", kind="independent route")


@pytest.mark.parametrize(
    ("count", "phi", "factor"),
    [
        (100, 0.5, 2.96),
        (100, 0.9, 17.20005),
        (50, 0.3, 1.832653),
        (1000, 0.95, 38.24),
        (20, 0.6, 3.62501),
    ],
)
def test_the_inflation_of_a_first_order_process_is_its_closed_form(count, phi, factor):
    closed = (1 + phi) / (1 - phi) - 2 * phi * (1 - phi**count) / (count * (1 - phi) ** 2)
    found = inflation(phi ** np.arange(1, count), count)

    assert found == pytest.approx(closed, rel=1e-12)
    assert found == pytest.approx(factor, abs=1e-4)
