"""Speeding up against quadrature; energies and stress from the mechanics of a rigid rotor."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from spinproof.physics.containment import fragment_energy, fragment_speed, rim_stress
from spinproof.physics.drive import (
    drive_power,
    highest_acceleration,
    ramp_torque,
    speed_reached,
    speed_up_time,
    stopping_torque,
)
from spinproof.physics.rotor import coast_down_time, drag_torque, rotational_energy

pytestmark = pytest.mark.source(
    "equation of motion by scipy quadrature; textbook mechanics", kind="independent route"
)

RPM = np.pi / 30
DRAG = 0.12, 0.002, 1.5e-5


@given(
    tc=st.floats(0, 0.5),
    b=st.floats(0, 0.01),
    k=st.floats(0, 1e-4),
    low=st.floats(0, 100),
    more=st.floats(0.01, 100),
    spare=st.floats(0.01, 5),
)
def test_any_speeding_up_agrees_with_quadrature(tc, b, k, low, more, spare):
    high = low + more
    torque = tc + b * high + k * high * high + spare
    by_quadrature, _ = quad(
        lambda w: 0.22 / (torque - tc - b * w - k * w * w), low, high, epsabs=0, epsrel=1e-11
    )

    assert speed_up_time(0.22, torque, tc, b, k, low, high) == pytest.approx(
        by_quadrature, rel=1e-8
    )


def test_a_motor_without_torque_coasts():
    """Speeding up is coasting with time reversed and the drag turned round, without k and b."""
    assert speed_up_time(0.22, 0.35, 0, 0, 0, 10, 100) == pytest.approx(
        coast_down_time(0.22, 0.35, 0, 0, 100, 10)
    )


def test_a_ramp_to_2000_rpm_in_30_s_takes_1_536_newton_metres_and_322_watts():
    rate = 2000 * RPM / 30
    torque = ramp_torque(0.22, rate, 0.0)

    assert rate == pytest.approx(6.98132, abs=1e-5)
    assert torque == pytest.approx(1.535890, abs=1e-6)
    assert drive_power(torque, 2000 * RPM) == pytest.approx(321.676, abs=1e-3)


def test_drag_and_hold_power_at_1750_rpm():
    """0.990280 N m of the three drag terms; 218.0 W for 0.35 N m and 2.5e-5 N m s2 alone."""
    speed = 1750 * RPM
    hold = drag_torque(speed, 0.35, 0.0, 2.5e-5)

    assert drag_torque(speed, *DRAG) == pytest.approx(0.990280, abs=1e-6)
    assert drive_power(hold, speed) == pytest.approx(218.0, abs=0.05)


def test_a_motor_at_its_limit_stops_speeding_up_where_drag_takes_it_all():
    top = speed_reached(1.0, *DRAG)

    assert drag_torque(top, *DRAG) == pytest.approx(1.0, rel=1e-12)
    assert highest_acceleration(0.22, 1.0, *DRAG, top) == pytest.approx(0, abs=1e-12)
    assert highest_acceleration(0.22, 1.0, *DRAG, top * 1.1) < 0
    assert speed_reached(0.1, *DRAG) == 0


def test_a_positioner_that_catches_the_rotor():
    """From 75 rpm in 0.2 s 8.64 N m; evenly within one turn 1.080 N m."""
    speed = 75 * RPM
    one_turn = 2 * (2 * np.pi) / speed

    assert stopping_torque(0.22, speed, 0.2) == pytest.approx(8.64, abs=5e-3)
    assert stopping_torque(0.22, speed, one_turn) == pytest.approx(1.080, abs=1e-3)
    assert stopping_torque(0.22, speed, one_turn) == pytest.approx(
        rotational_energy(0.22, speed) / (2 * np.pi)
    )


def test_what_flies_off_and_how_hard():
    speed = 2000 * RPM

    assert fragment_speed(0.12, speed) == pytest.approx(25.13, abs=5e-3)
    assert fragment_energy(16.2 / 3, 0.12, speed) == pytest.approx(1705, abs=0.5)
    assert fragment_speed(0.2, speed) == pytest.approx(41.9, abs=0.05)
    assert fragment_energy(53.0466e-3, 0.2, speed) == pytest.approx(46.5, abs=0.05)
    assert 1e-6 * rim_stress(7980, 0.16, speed) == pytest.approx(8.96, abs=5e-3)
    assert rotational_energy(0.22, 0.9 * speed) / rotational_energy(0.22, speed) == pytest.approx(
        0.81
    )
