"""Pulses counted at the device: counts, edges, fading and dropouts."""

import math
from random import Random

import numpy as np
import pytest

from spinproof.physics.rotor import RAD_PER_S_PER_RPM as RPM
from spinproof.virtualhead.tach import FIRST_TARGET, Clock, PulseCounter, lowest_readable_speed


def turn(counter: PulseCounter, rpm, seconds: float, h: float = 0.01) -> None:
    """Turn a rotor whose speed is a function of time, and let the counter watch."""
    rng, clock, angle = Random(3), Clock(5_000_000), 0.0  # noqa: S311 - jitter, no secret
    for i in range(round(seconds / h)):
        before, after = rpm(i * h) * RPM, rpm((i + 1) * h) * RPM
        angle += h * (before + after) / 2
        counter.watch(angle, before, after, (i + 1) * h, h, clock, rng)


@pytest.mark.parametrize(("gap", "rpm"), [(0.8, 25.0), (1.9, 83.8)])
def test_pulses_fade_with_speed_and_gap(gap, rpm):
    assert lowest_readable_speed(gap) / RPM == pytest.approx(rpm, abs=0.05)


def test_the_count_is_the_turns_times_the_targets():
    counter = PulseCounter(6, 0.0, count=65000)
    turn(counter, lambda _: 600.0, 10.0)

    assert counter.count - 65000 == 600


def test_edges_lie_where_the_rotor_passed_them_to_a_microsecond():
    """A rotor that speeds up evenly passes target k when a t² / 2 reaches its angle."""
    counter, a = PulseCounter(1, 0.0), 20.0
    turn(counter, lambda t: a * t / RPM, 9.995)
    k = counter.count
    passed = math.sqrt(2 * (k - FIRST_TARGET) * 2 * math.pi / a)

    assert counter.edge_us - 5_000_000 == pytest.approx(1e6 * passed, abs=1.0)


def test_the_edge_gives_the_speed_that_the_rotor_has():
    counter = PulseCounter(6, 0.0)
    turn(counter, lambda _: 47.0, 20.0)

    assert 60 / (6 * counter.interval) == pytest.approx(47.0, rel=1e-6)
    assert counter.interval_before == pytest.approx(counter.interval, rel=1e-6)


def test_faded_pulses_are_not_counted():
    counter = PulseCounter(6, 0.0, lowest_speed=50 * RPM)
    turn(counter, lambda _: 49.0, 10.0)

    assert counter.count == 0


def test_dropouts_lose_the_share_that_they_should():
    counter = PulseCounter(6, 0.0, dropout=0.2)
    turn(counter, lambda _: 1200.0, 60.0)

    lost = 1 - counter.count / 7200
    assert lost == pytest.approx(0.2, abs=4 * np.sqrt(0.16 / 7200))


def test_the_clock_jumps_and_never_shows_less_than_nothing():
    clock = Clock(1_000_000)
    clock.jump(2.5)
    assert clock.at(1.0) == 4_500_000
    clock.jump(-3600.0)
    assert clock.at(0.0) == 0
