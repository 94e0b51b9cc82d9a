"""Vibration at the speed of the shaft, against signals with a known answer."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.tracked import tracked_velocity

RATE = 5000
TIME = np.arange(2 * RATE) / RATE


def shaft(speed, amplitude=1.5):
    """Acceleration that turns once a revolution, with two further orders, noise and an offset."""
    angle = 2 * np.pi * speed * TIME
    noise = np.random.default_rng(6).normal(0, 0.05, TIME.size)
    return (
        9.81 + amplitude * np.cos(angle - 1) + np.cos(2 * angle) + 0.5 * np.cos(7 * angle) + noise
    )


@pytest.mark.parametrize("speed", [3.3, 29.1667, 60.0])
@pytest.mark.parametrize("per_turn", [1, 4])
def test_the_first_order_alone_is_read_at_any_speed(speed, per_turn):
    edges = np.arange(-5, 2 * speed * per_turn + 5) / speed / per_turn
    found = tracked_velocity(shaft(speed)[RATE:], 1.0, RATE, edges, per_turn)

    assert found.speed == pytest.approx(speed, rel=1e-9)
    assert found.velocity == pytest.approx(1.5 / np.sqrt(2) / (2 * np.pi * speed), rel=0.01)


def test_pulses_that_do_not_tell_give_nothing():
    edges = np.arange(60) / 29.0
    signal = shaft(29.0)

    assert tracked_velocity(signal, 0.0, RATE, edges, 1)
    assert tracked_velocity(signal, 0.0, RATE, np.delete(edges, 30), 1) is None
    assert tracked_velocity(signal, 0.0, RATE, np.sort(np.r_[edges, edges[30] + 0.005]), 1) is None
    assert tracked_velocity(signal, 0.0, RATE, edges[:2], 1) is None
    assert tracked_velocity(signal, 99.0, RATE, edges, 1) is None


def test_no_pulses_a_revolution_are_refused():
    with pytest.raises(OutOfRangeError):
        tracked_velocity(shaft(29.0), 0.0, RATE, np.arange(60) / 29.0, 0)
