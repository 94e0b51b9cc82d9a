"""Held-up water against its balances, integrated by scipy, over many heads."""

import itertools

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.drying import (
    DryingHistory,
    WetBowl,
    dry_hold_up,
    hold_up_course,
    shortest_drying,
)
from spinproof.physics.evaporation import LATENT_HEAT, evaporation_rate, saturation_humidity
from spinproof.physics.nitrogen import HEAT_CAPACITY

pytestmark = pytest.mark.source(
    "balances of mass and heat, integrated by scipy; IAPWS SR1-86", kind="independent route"
)
RPM = np.pi / 30

FLOW = 2.499638e-3
TIME = [0.0, 120.0, 120.0, 320.0]
SPEED = np.array([2000.0, 2000.0, 600.0, 600.0]) * RPM
HISTORY = DryingHistory(TIME, SPEED, FLOW, 333.15)


@pytest.mark.parametrize(("shrinkage", "seconds"), [(2 / 3, 137.166), (0.0, 120.506)])
def test_five_grams_dry_in_the_time_of_the_balances(shrinkage, seconds):
    """2000 rpm for 120 s, then 600; 120 L/min at 60 °C, 0.01 m³/s, 3000 J/K, 50 W."""
    bowl = WetBowl(5e-3, 0.01, 3000.0, 50.0, 293.15, shrinkage=shrinkage)

    assert dry_hold_up(HISTORY, bowl, 1e-4).dry_time == pytest.approx(seconds, abs=0.01)


def test_mass_and_temperature_at_the_change_of_speed():
    course = hold_up_course(HISTORY, WetBowl(5e-3, 0.01, 3000.0, 50.0, 293.15))

    assert 1e3 * course.mass[1] == pytest.approx(0.360012, abs=2e-4)
    assert course.temperature[1] - 273.15 == pytest.approx(22.2519, abs=5e-3)
    assert shortest_drying(5e-3, FLOW, 293.15) == pytest.approx(131.62, abs=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_any_head_and_any_ramp_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    time = np.array([0.0, 8.0, 70.0, 90.0, 150.0])
    speed = np.array([50.0, *rng.uniform(300, 2800, 3), 200.0]) * RPM
    flow, gas = rng.uniform(1e-3, 5e-3, 5), rng.uniform(300, 360, 5)
    m0, kA, C, P = rng.uniform(1e-3, 2e-2), rng.uniform(1e-3, 2e-2), rng.uniform(1500, 8000), 50.0
    w_in = 1e-3

    def rates(t, y):
        water, kelvin = max(y[0], 0.0), y[1]
        n, m, T = (np.interp(t, time, x) for x in (speed / RPM, flow, gas))
        G = kA * np.sqrt(n / 1000) * 1.13
        gone = evaporation_rate(
            m, G, saturation_humidity(kelvin) - w_in, min((water / m0) ** (2 / 3), 1.0)
        )
        heat = m * HEAT_CAPACITY * (T - kelvin) * (1 - np.exp(-G / m)) + P * (n / 2000) ** 3
        return [-gone, (heat - LATENT_HEAT * gone) / C]

    y = [[m0, 293.15]]
    for a, b in itertools.pairwise(time):
        y.append(solve_ivp(rates, (a, b), y[-1], method="RK45", rtol=1e-8, atol=1e-10).y[:, -1])
    course = hold_up_course(
        DryingHistory(time, speed, flow, gas), WetBowl(m0, kA, C, P, 293.15, w_in)
    )

    assert course.mass == pytest.approx(np.array(y)[:, 0], abs=2e-4 * m0)
    assert course.temperature == pytest.approx(np.array(y)[:, 1], abs=5e-3)


def test_many_draws_give_each_its_own_answer():
    held = np.array([1e-3, 5e-3, 15e-3])
    bowl = WetBowl(held, 0.01, 3000.0, 50.0, 293.15)
    together = dry_hold_up(HISTORY, bowl, 0.02 * held)
    alone = [dry_hold_up(HISTORY, WetBowl(m, 0.01, 3000.0, 50.0, 293.15), 0.02 * m) for m in held]

    assert together.mass.tolist() == [float(one.mass) for one in alone]
    assert together.dry_time.tolist() == [float(one.dry_time) for one in alone]
    assert np.isinf(together.dry_time[2])


def test_wet_gas_and_boiling_water_are_refused():
    with pytest.raises(OutOfRangeError, match="inlet_humidity"):
        dry_hold_up(HISTORY, WetBowl(5e-3, 0.01, 3000.0, 50.0, 293.15, 0.02), 1e-4)
    still = DryingHistory([0.0, 5000.0], 209.0, 0.0, 333.15)
    with pytest.raises(OutOfRangeError, match="would boil"):
        dry_hold_up(still, WetBowl(5e-3, 0.01, 300.0, 50.0, 293.15), 1e-4)
