"""Oxygen in a room against its volume balance, with the threshold of the code."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from spinproof.physics.room_air import fresh_air_needed, lasting_oxygen, oxygen_share, time_to_share

pytestmark = pytest.mark.source(
    "29 CFR 1910.146; volume balance integrated by scipy", kind="independent route"
)
HOURLY, MINUTELY = 1 / 3600, 1 / 6e4


def test_a_ventilated_room_settles_above_the_threshold():
    """50 m³, 300 m³/h of air, 200 L/min of nitrogen."""
    Qv, Qn = 300 * HOURLY, 200 * MINUTELY
    balance = solve_ivp(
        lambda _, x: (Qv * 0.2095 - (Qv + Qn) * x) / 50, (0, 600), [0.2095], rtol=1e-10
    )

    assert lasting_oxygen(Qv, Qn) == pytest.approx(0.201442, abs=1e-6)
    assert oxygen_share(600.0, 50.0, Qv, Qn) == pytest.approx(0.204290, abs=1e-6)
    assert oxygen_share(600.0, 50.0, Qv, Qn) == pytest.approx(balance.y[0, -1], abs=1e-7)
    assert time_to_share(0.195, 50.0, Qv, Qn) == np.inf


@pytest.mark.parametrize(
    ("volume", "air_m3_h", "leak_l_min", "seconds"),
    [(50, 0, 200, 1075.86), (30, 20, 500, 264.746)],
)
def test_a_poor_room_reaches_the_threshold_when_the_balance_says_so(
    volume, air_m3_h, leak_l_min, seconds
):
    time = time_to_share(0.195, volume, air_m3_h * HOURLY, leak_l_min * MINUTELY)

    assert time == pytest.approx(seconds, abs=0.01)
    assert oxygen_share(time, volume, air_m3_h * HOURLY, leak_l_min * MINUTELY) == pytest.approx(
        0.195
    )


def test_the_air_that_is_needed_is_thirteen_times_the_leak():
    air = fresh_air_needed(200 * MINUTELY)

    assert 200 * MINUTELY / air == pytest.approx(0.07436, abs=1e-5)
    assert lasting_oxygen(air, 200 * MINUTELY) == pytest.approx(0.195)


LEAK = 170 * MINUTELY * 293.15 / 273.15
"""170 L/min at 0 °C, vented at 20 °C; the shares below take 20.9 % for the air. [m³/s]"""


@pytest.mark.source("steady volume balance, worked by hand", kind="common practice")
@pytest.mark.parametrize(("air_m3_h", "percent"), [(30, 15.3125), (360, 20.2832)])
def test_a_room_of_little_air_is_deficient_and_one_of_much_is_not(air_m3_h, percent):
    found = lasting_oxygen(air_m3_h * HOURLY, LEAK) * 0.209 / 0.2095

    assert 100 * found == pytest.approx(percent, abs=1e-4)


@pytest.mark.source("volume balance, worked by hand", kind="common practice")
def test_the_least_air_and_the_minutes_of_a_sealed_room():
    level = 0.195 * 0.2095 / 0.209  # the level as a share of what is in this air

    assert fresh_air_needed(LEAK, level) / HOURLY == pytest.approx(152.474, abs=2e-3)
    assert time_to_share(level, 60.0, 0.0, LEAK) / 60 == pytest.approx(22.80, abs=0.01)


@pytest.mark.source("volume balance, worked by hand", kind="common practice")
def test_a_bowl_after_fifteen_seconds_of_purge_holds_almost_no_oxygen():
    """24 litres; nobody breathes in there."""
    found = oxygen_share(15.0, 0.024, 0.0, LEAK) * 0.209 / 0.2095

    assert 100 * found == pytest.approx(3.1244, abs=1e-4)
