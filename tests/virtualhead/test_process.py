"""Rinse, nitrogen, held-up water and seal against their laws."""

import math

import numpy as np
import pytest
from tests.demo_files import LOWER

from spinproof.physics.nitrogen import heater_rise, mass_flow_of
from spinproof.physics.rinse import conductivity_of, diluted_conductivity
from spinproof.virtualhead.door import Seal
from spinproof.virtualhead.head import STEP_S
from spinproof.virtualhead.process import ROOM_C, HoldUp, Nitrogen, Water


def advance(part, seconds: float) -> None:
    for _ in range(round(seconds / STEP_S)):
        part.advance(STEP_S)


def test_the_drain_follows_the_dilution_law_once_the_valve_is_open():
    water = Water(LOWER, 0.35)
    water.valve = True
    advance(water, 2.0)
    drain = water.drain
    assert water.flow_lpm == pytest.approx(LOWER.di_flow_lpm, rel=1e-3)
    advance(water, 20.0)

    law = diluted_conductivity(
        drain, conductivity_of(17.6), LOWER.di_flow_lpm / 6e4, LOWER.bowl_hold_up_l / 1e3, 20.0
    )
    assert water.drain == pytest.approx(float(law), rel=1e-3)


@pytest.mark.parametrize("seconds", [0.35, 4.1])
def test_the_rinse_valve_closes_in_its_time(seconds):
    water = Water(LOWER, seconds)
    water.valve = True
    advance(water, 3.0)
    water.valve = False
    advance(water, seconds - 0.05)
    assert water.flow_lpm > 0
    advance(water, 0.1)
    assert water.flow_lpm == 0.0


def test_the_flow_goes_with_the_root_of_the_pressure():
    water = Water(LOWER, 0.35)
    water.valve = True
    water.supply_bar_g = 1.4
    advance(water, 5.0)

    assert water.pressure_bar_g == pytest.approx(1.4, abs=0.05)
    assert water.flow_lpm == pytest.approx(LOWER.di_flow_lpm * math.sqrt(0.5), rel=0.01)


def test_the_heater_warms_up_as_its_law_says_and_holds_its_set_point():
    gas = Nitrogen(LOWER, 1.0)
    gas.valve = True
    advance(gas, 5.0)
    gas.setpoint_c = 80.0
    advance(gas, 20.0)
    law = heater_rise(
        LOWER.heater_w, mass_flow_of(LOWER.n2_flow_slm), gas.LOSS_W_PER_K, gas.HEATER_J_PER_K, 20.0
    )
    assert gas.outlet_c - ROOM_C == pytest.approx(float(law), rel=2e-3)
    advance(gas, 20.0)
    assert gas.outlet_c == pytest.approx(80.0, abs=0.5)


def test_a_dead_heater_leaves_the_gas_cold():
    gas = Nitrogen(LOWER, 0.0)
    gas.valve, gas.setpoint_c = True, 80.0
    advance(gas, 60.0)

    assert gas.outlet_c == pytest.approx(ROOM_C, abs=1e-9)


def test_held_up_water_dries_as_fast_as_its_balances_say():
    """2.275 g/min at first at 60 °C, 120 slm and 2000 rpm; 0.360 g of 5 g left after 120 s."""
    held = HoldUp()
    held.wet()
    held.temperature_c = 20.0
    held.advance(1.0, 120.0, 60.0, 2000.0)
    assert 60 * (5.0 - held.mass_g) == pytest.approx(2.275, rel=0.01)
    for _ in range(119):
        held.advance(1.0, 120.0, 60.0, 2000.0)

    assert held.mass_g == pytest.approx(0.360, abs=0.02)


def test_held_up_water_stays_without_gas_and_never_turns_negative():
    held = HoldUp()
    held.wet()
    held.advance(100.0, 0.0, 80.0, 1000.0)
    assert held.mass_g == HoldUp.FIRST_G
    for _ in range(2000):
        held.advance(1.0, 170.0, 80.0, 1000.0)
    assert 0.0 <= held.mass_g < 0.01


def test_the_seal_inflates_leaks_and_vents_in_its_times():
    seal = Seal(LOWER, 2.0, 1.9)
    seal.fed = True
    advance(seal, 3.0)
    assert seal.is_inflated
    seal.closed_off = True
    before = seal.pressure_kpa_g
    advance(seal, 60.0)
    assert seal.pressure_kpa_g == pytest.approx(0.98 * before, rel=1e-4)
    seal.pressure_kpa_g, seal.fed = LOWER.seal_pressure_kpa_g, False
    fall = []
    while seal.pressure_kpa_g >= LOWER.seal_release_kpa_g:
        seal.advance(STEP_S)
        fall.append(seal.pressure_kpa_g)
    assert len(fall) * STEP_S == pytest.approx(1.9, abs=0.05)
    assert np.all(np.diff(fall) < 0)
