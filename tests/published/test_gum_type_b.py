"""Inputs without repetition against JCGM 100:2008, 4.3 and F.2.2, and JCGM 101:2008, 6.4.5.

Printed values are from memory: the mass standard of 4.3.3, the expansion of copper of 4.3.7.
"""

import pytest

from spinproof.stats.distributions import Rectangular
from spinproof.stats.type_b import (
    from_certificate,
    from_display,
    from_error_limits,
    from_pulse_count,
)

pytestmark = pytest.mark.source("JCGM 100:2008, 4.3 and F.2.2", kind="from memory")


def test_a_certificate_of_three_standard_deviations_is_divided_by_three():
    """4.3.3: a 1 kg standard with 240 µg at three standard deviations has u = 80 µg."""
    assert from_certificate(1000.000325, 240e-6, 3).uncertainty == pytest.approx(80e-6, rel=1e-12)


def test_limits_without_further_knowledge_are_divided_by_the_root_of_three():
    """4.3.7: copper's expansion 16.52e-6 within 0.40e-6 has u = 0.23e-6 per kelvin."""
    assert from_error_limits(16.52e-6, 0.40e-6).uncertainty == pytest.approx(0.23e-6, abs=1e-8)


def test_a_display_rounds_with_0_29_of_its_division():
    """F.2.2.1: u = 0.29 δx."""
    assert from_display(5.0, 1.0).uncertainty == pytest.approx(0.29, abs=2e-3)


@pytest.mark.source("triangular distribution, recomputed", kind="independent route")
@pytest.mark.parametrize(("pulses", "gate", "u"), [(1, 1.0, 24.49), (60, 0.1, 4.082)])
def test_a_speed_from_counted_pulses(pulses, gate, u):
    """The convolution of two equal rectangles has twice the variance of one."""
    step = 60 / (pulses * gate)

    assert from_pulse_count(600.0, pulses, gate).uncertainty == pytest.approx(u, abs=5e-3)
    assert 2**0.5 * Rectangular(0.0, step).uncertainty == pytest.approx(u, abs=5e-3)
