"""Evaporation of held-up water against its balances, integrated by scipy."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from spinproof.physics.evaporation import LATENT_HEAT, evaporation_rate, saturation_humidity
from spinproof.physics.nitrogen import HEAT_CAPACITY, mass_flow_of

pytestmark = pytest.mark.source(
    "balances of mass and heat, integrated by scipy; IAPWS SR1-86", kind="independent route"
)


def test_a_hundred_standard_litres_of_nitrogen_carry_1_9_grams_a_minute_at_20_degrees():
    flow = mass_flow_of(100.0)

    assert 6e4 * flow * saturation_humidity(293.15) == pytest.approx(1.899, abs=0.002)


def test_held_up_water_dries_in_the_time_that_the_balances_give():
    """98 % of 5 g is gone after 137.2 s.

    2000 rpm for 120 s, then 600 rpm; 120 L/min of nitrogen at 60 °C; 0.01 m³/s at 1000 rpm;
    3000 J/K; 50 W of windage at 2000 rpm; from 20 °C.
    """
    flow, first = float(mass_flow_of(120.0)), 5e-3

    def rates(t, y):
        rpm = 2000.0 if t < 120 else 600.0
        water, kelvin = max(y[0], 0.0), y[1]
        exchange = 0.01 * np.sqrt(rpm / 1000) * 1.13
        gone = evaporation_rate(
            flow, exchange, saturation_humidity(kelvin), min((water / first) ** (2 / 3), 1.0)
        )
        warmed = flow * HEAT_CAPACITY * (333.15 - kelvin) * (1 - np.exp(-exchange / flow))
        heat = warmed + 50.0 * (rpm / 2000) ** 3 - LATENT_HEAT * gone
        return [-gone, heat / 3000.0]

    fast = solve_ivp(rates, (0, 120), [first, 293.15], rtol=1e-9, atol=1e-12)
    dry = lambda _, y: y[0] - 0.02 * first  # noqa: E731 - scipy sets an attribute on it
    dry.terminal = True
    slow = solve_ivp(rates, (120, 300), fast.y[:, -1], rtol=1e-9, atol=1e-12, events=dry)

    assert -6e4 * rates(0.0, [first, 293.15])[0] == pytest.approx(2.27546, rel=1e-3)
    assert 1e3 * fast.y[0, -1] == pytest.approx(0.360, abs=0.003)
    assert fast.y[1, -1] - 273.15 == pytest.approx(22.252, abs=0.01)
    assert slow.t_events[0][0] == pytest.approx(137.166, abs=0.2)
