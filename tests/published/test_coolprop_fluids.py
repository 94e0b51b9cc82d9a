"""Water and nitrogen against a general-purpose property library, on grids."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from spinproof.physics.nitrogen import gas_conductivity, gas_density, gas_viscosity
from spinproof.physics.water import density, dynamic_viscosity, saturation_pressure
from spinproof.physics.water_thermal import (
    heat_capacity,
    latent_heat,
    permittivity,
    thermal_conductivity,
)

pytestmark = pytest.mark.source(
    "CoolProp 8: IAPWS-95, R12-08, R15-11; Span et al. 2000", kind="independent route"
)
KELVIN = np.linspace(274.0, 333.0, 40)
WARM = np.linspace(293.15, 353.15, 25)


def of(quantity, fluid, kelvin):
    return np.array([PropsSI(quantity, "T", T, "P", 101325, fluid) for T in kelvin])


@pytest.mark.parametrize(
    ("law", "quantity", "relative"),
    [
        (density, "D", 4e-6),
        (dynamic_viscosity, "V", 6e-5),
        (thermal_conductivity, "L", 1e-4),
        (heat_capacity, "C", 3e-4),
    ],
)
def test_water_agrees_from_freezing_to_60_degrees(law, quantity, relative):
    assert law(KELVIN) == pytest.approx(of(quantity, "Water", KELVIN), rel=relative)


def test_boiling_agrees_from_freezing_to_60_degrees():
    pressure = [PropsSI("P", "T", T, "Q", 0, "Water") for T in KELVIN]
    heat = [
        PropsSI("H", "T", T, "Q", 1, "Water") - PropsSI("H", "T", T, "Q", 0, "Water")
        for T in KELVIN
    ]

    assert saturation_pressure(KELVIN) == pytest.approx(pressure, rel=1.2e-4)
    assert latent_heat(KELVIN) == pytest.approx(heat, rel=2.1e-4)


@pytest.mark.source("IAPWS R8-97", kind="published")
def test_permittivity_agrees_with_the_release():
    values = permittivity(273.15 + np.array([10.0, 20.0, 25.0, 40.0, 60.0]))

    assert values == pytest.approx([83.9745, 80.2226, 78.4085, 73.2006, 66.7745], abs=0.05)


@pytest.mark.parametrize(
    ("law", "quantity", "relative"),
    [(gas_density, "D", 3e-4), (gas_viscosity, "V", 2.5e-3), (gas_conductivity, "L", 2.5e-3)],
)
def test_nitrogen_agrees_from_20_to_80_degrees(law, quantity, relative):
    assert law(WARM) == pytest.approx(of(quantity, "Nitrogen", WARM), rel=relative)
