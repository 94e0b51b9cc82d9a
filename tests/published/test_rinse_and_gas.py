"""Dilution, heating, wafer masses and g-numbers against balances written out independently."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from spinproof.physics.nitrogen import HEAT_CAPACITY, heater_rise, mass_flow_of
from spinproof.physics.rinse import conductivity_of, diluted_conductivity, resistivity_of
from spinproof.physics.rotor import drag_torque, rotational_energy
from spinproof.physics.wafer import relative_centrifugal_force, wafer_inertia


@pytest.mark.source("mass balance of a stirred tank, integrated by scipy", kind="independent route")
@pytest.mark.parametrize(
    ("mohm_cm", "seconds"), [(10.0, 77.06), (15.0, 90.55), (17.0, 101.70), (18.0, 120.94)]
)
def test_the_drain_reaches_its_target_when_the_balance_says_so(mohm_cm, seconds):
    """V/Q = 10 s, 100 µS/cm diluted by water of 0.0550 µS/cm."""
    micro = 1e-4  # S/m in one µS/cm
    drain = diluted_conductivity(100 * micro, 0.0550 * micro, 1e-4, 1e-3, seconds)
    balance = solve_ivp(
        lambda _, k: 1e-4 / 1e-3 * (0.0550 * micro - k), (0, seconds), [100 * micro],
        rtol=1e-10, atol=1e-16,
    )  # fmt: skip

    assert drain == pytest.approx(balance.y[0, -1], rel=1e-6)
    assert resistivity_of(drain) == pytest.approx(mohm_cm, rel=2e-4)


@pytest.mark.source("units of the SI", kind="published")
def test_one_microsiemens_per_centimetre_is_one_megohm_centimetre():
    assert conductivity_of(1.0) == pytest.approx(1e-4)
    assert resistivity_of(conductivity_of(17.6)) == pytest.approx(17.6)


@pytest.mark.source("energy balance, integrated by scipy", kind="independent route")
def test_a_heater_warms_nitrogen_as_its_energy_balance_says():
    """600 W, 800 J/K, 3.60383 W/K in all: time constant 221.986 s, final rise 166.489 K."""
    flow = 3.60383 / HEAT_CAPACITY

    assert heater_rise(600.0, flow, 0.0, 800.0, 1e9) == pytest.approx(166.489, abs=1e-3)
    assert heater_rise(600.0, flow, 0.0, 800.0, 99.2024) == pytest.approx(60.0, abs=1e-3)
    balance = solve_ivp(
        lambda _, rise: (600.0 - 3.60383 * rise) / 800.0, (0, 99.2024), [0.0], rtol=1e-9
    )
    assert heater_rise(600.0, flow, 0.0, 800.0, 99.2024) == pytest.approx(
        balance.y[0, -1], rel=1e-6
    )


@pytest.mark.source("ideal gas law, CODATA 2018; CoolProp 8", kind="independent route")
def test_a_hundred_standard_litres_a_minute_weigh_what_the_gas_law_says():
    assert mass_flow_of(100.0) == pytest.approx(2.0830e-3, rel=1e-4)
    assert mass_flow_of(100.0, 293.15) == pytest.approx(1.9409e-3, rel=1e-4)


@pytest.mark.source("SEMI M1 nominal sizes, silicon 2329 kg/m³", kind="from memory")
@pytest.mark.parametrize(
    ("diameter_mm", "thickness_um", "mass_g", "inertia"),
    [
        (100, 525, 9.6033, 1.20041e-5),
        (150, 675, 27.7809, 7.81337e-5),
        (200, 725, 53.0466, 2.65233e-4),
        (300, 775, 127.586, 1.43534e-3),
    ],
)
def test_nominal_wafers_have_their_mass_and_inertia(diameter_mm, thickness_um, mass_g, inertia):
    d = 1e-3 * diameter_mm
    mass = 2329 * np.pi * d * d / 4 * 1e-6 * thickness_um

    assert 1e3 * mass == pytest.approx(mass_g, rel=1e-5)
    assert wafer_inertia(mass, d) == pytest.approx(inertia, rel=1e-5)


@pytest.mark.source("definition with g_n = 9.80665 m/s², 3rd CGPM 1901", kind="published")
@pytest.mark.parametrize(("radius_cm", "rpm", "rcf"), [(10, 2800, 876.703), (10, 1750, 342.46)])
def test_the_g_number_is_the_definition(radius_cm, rpm, rcf):
    """The usual bench formula is 1.118244e-5 r n², with r in cm and n in rpm."""
    computed = relative_centrifugal_force(radius_cm / 100, rpm * np.pi / 30)

    assert computed == pytest.approx(rcf, rel=1e-5)
    assert computed == pytest.approx(1.118244e-5 * radius_cm * rpm**2, rel=1e-6)


@pytest.mark.source("definition of kinetic energy, Joule per SI", kind="independent route")
@pytest.mark.parametrize(("rpm", "joule"), [(2000, 4825.14), (1750, 3694.25), (75, 6.785)])
def test_the_energy_of_a_rotor_is_half_its_inertia_times_the_square_of_its_speed(rpm, joule):
    """0.22 kg m²; the same as a mass of 0.22 kg on a radius of one metre."""
    speed = rpm * np.pi / 30

    assert rotational_energy(0.22, speed) == pytest.approx(joule, rel=1e-4)
    assert rotational_energy(0.22, speed) == pytest.approx(0.22 * (speed * 1.0) ** 2 / 2)


@pytest.mark.source("three-term drag of SAE J1263", kind="from memory")
def test_drag_is_the_sum_of_its_three_terms():
    """0.12 N m, 0.002 N m s and 1.5e-5 N m s² at 1750 rpm."""
    assert drag_torque(1750 * np.pi / 30, 0.12, 0.002, 1.5e-5) == pytest.approx(0.990280, abs=1e-6)
