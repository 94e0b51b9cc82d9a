"""Exact binomial limits against NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1.

The example: 4 defective in 20, two-sided 90 %, exact limits 0.071354 and 0.401029. The example is
quoted from memory; its figures were recomputed.
"""

import pytest

from spinproof.stats.demonstration import reliability_lower_bound

pytestmark = pytest.mark.source("NIST/SEMATECH e-Handbook 7.2.4.1", kind="from memory")


def test_four_of_twenty_lie_between_the_handbooks_limits():
    """Each limit of a two-sided 90 % interval is a one-sided limit at 95 %."""
    lower = reliability_lower_bound(20, failures=16, confidence=0.95)
    upper = 1 - reliability_lower_bound(20, failures=4, confidence=0.95)

    assert lower == pytest.approx(0.071354, abs=1e-6)
    assert upper == pytest.approx(0.401029, abs=2e-6)
