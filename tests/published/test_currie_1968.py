"""Limits of detection against L. A. Currie, Anal. Chem. 40, 586 (1968), table for paired counts."""

import pytest

from spinproof.stats.counts import counting_limits
from spinproof.stats.weighing import detection_limits, drop_diameter, weighing_uncertainty

pytestmark = pytest.mark.source("Currie 1968", kind="published")


def test_decision_and_detection_limit_beside_a_background_of_ten():
    """The paper's rounded coefficients: 2.33 √B and 2.71 + 4.65 √B."""
    critical, detectable = counting_limits(10.0)

    assert critical == pytest.approx(2.33 * 10**0.5, abs=0.02)
    assert detectable == pytest.approx(2.71 + 4.65 * 10**0.5, abs=0.02)


def test_the_coefficients_behind_the_rounded_ones():
    assert counting_limits(1.0)[0] == pytest.approx(2.32617, abs=5e-6)
    assert counting_limits(0.0)[1] == pytest.approx(2.70554, abs=5e-6)


@pytest.mark.source("Currie 1968, recomputed", kind="independent route")
def test_a_balance_of_a_tenth_of_a_milligram_sees_a_drop_of_one_millimetre():
    """Repeatability and division 0.1 mg: two weighings differ by chance up to 0.242 mg."""
    u = weighing_uncertainty(0.1e-6, 0.1e-6)
    critical, detectable = detection_limits(u)

    assert u == pytest.approx(0.147196e-6, abs=1e-12)
    assert critical == pytest.approx(0.2421e-6, abs=1e-10)
    assert detectable == pytest.approx(0.4842e-6, abs=1e-10)
    assert drop_diameter(detectable, 998.2) == pytest.approx(0.975e-3, abs=5e-7)
