"""The stand's sensors against the law they show, and their registers at the ends of their range."""

import pytest
from tests.demo_files import LOWER

from spinproof.model.registers import MISSING, MISSING_SIGNED
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, unbalance_velocity
from spinproof.virtualhead.sensors import Vibration, _signed, _unsigned, _words


@pytest.mark.parametrize("rpm", [100, 190, 450, 1750, 2000])
def test_vibration_settles_at_the_severity_of_the_law(rpm):
    sensor, speed = Vibration(LOWER, 455.0), rpm * RAD_PER_S_PER_RPM
    for _ in range(400):
        sensor.advance(0.05, speed)

    law = 1e3 * unbalance_velocity(
        455e-6,
        sensor.MASS_RATIO * LOWER.rotor_mass_kg,
        sensor.MOUNT_RPM * RAD_PER_S_PER_RPM,
        sensor.DAMPING,
        speed,
    )
    assert sensor.shown_mm_s == pytest.approx((float(law) ** 2 + sensor.FLOOR_MM_S**2) ** 0.5)


def test_a_reading_never_looks_like_none():
    assert _unsigned(1e9) == MISSING - 1
    assert _unsigned(-3.0) == 0
    assert _signed(-1e9) == (MISSING_SIGNED + 1) & 0xFFFF
    assert _signed(1e9) == 0x7FFF
    assert _signed(-1.0) == 0xFFFF


def test_edges_roll_over_at_32_bits_high_word_first():
    assert _words(0x1_2345_6789) == (0x2345, 0x6789)
