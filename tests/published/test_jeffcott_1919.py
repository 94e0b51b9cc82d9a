"""Unbalance response against Jeffcott, Phil. Mag. 37, 304 (1919).

The numbers are those of the steady response X/e = r²/√((1-r²)² + (2ζr)²), turned into velocity;
the peak at r = 1/√(1-2ζ²) has the height 1/(2ζ√(1-ζ²)).
"""

import numpy as np
import pytest

from spinproof.physics.rotor import unbalance_velocity

pytestmark = pytest.mark.source("Jeffcott 1919", kind="published")

RPM = np.pi / 30


@pytest.mark.parametrize(
    ("zeta", "ratio", "amplitude"),
    [(0.05, 1.002509, 10.012523), (0.05, 1.0, 10.0), (0.05, 2.0, 1.330380), (0.02, 1.0004, 25.005)],
)
def test_the_displacement_ratio_is_that_of_the_rotor_model(zeta, ratio, amplitude):
    natural = 100.0
    speed = ratio * natural
    velocity = unbalance_velocity(1.0, 1.0, natural, zeta, speed)

    assert velocity * np.sqrt(2) / speed == pytest.approx(amplitude, rel=1e-5)


@pytest.mark.parametrize(
    ("g_mm", "rpm", "mm_s"),
    [(250.0, 1750.0, 0.80528), (250.0, 2000.0, 0.82558), (487.3, 2000.0, 1.60922)],
)
def test_a_head_on_soft_mounts_shows_its_severity(g_mm, rpm, mm_s):
    """60 kg, resonance at 1010 rpm, damping ratio 0.06 (invented head, the model's own numbers)."""
    velocity = unbalance_velocity(1e-6 * g_mm, 60.0, 1010 * RPM, 0.06, rpm * RPM)

    assert 1e3 * velocity == pytest.approx(mm_s, abs=1e-5)
