"""Humidity and saturation against a library for moist air, carried over to nitrogen."""

import numpy as np
import psychrolib
import pytest

from spinproof.physics.evaporation import saturation_humidity
from spinproof.physics.psychrometry import adiabatic_saturation, wet_bulb

pytestmark = pytest.mark.source("PsychroLib 2.5, ASHRAE formulation", kind="independent route")
NITROGEN_TO_AIR = 28.0134 / 28.966


@pytest.mark.parametrize("celsius", [10.0, 20.0, 25.0, 40.0, 60.0])
def test_humidity_is_the_librarys_with_the_mass_of_air(celsius):
    psychrolib.SetUnitSystem(psychrolib.SI)
    air = psychrolib.GetSatHumRatio(celsius, 101325)

    assert saturation_humidity(273.15 + celsius) * NITROGEN_TO_AIR == pytest.approx(air, rel=6e-4)


@pytest.mark.parametrize("celsius", [60.0])
def test_dry_gas_saturates_at_the_librarys_temperature(celsius):
    """Nitrogen differs from air by 0.01 to 0.02 K here."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    air = psychrolib.GetTWetBulbFromHumRatio(celsius, 0.0, 101325)

    assert adiabatic_saturation(273.15 + celsius) - 273.15 == pytest.approx(air, abs=0.04)


def test_a_wet_surface_stays_below_adiabatic_saturation():
    gas = 273.15 + np.array([20.0, 40.0, 60.0, 80.0])
    surface = wet_bulb(gas)

    assert surface - 273.15 == pytest.approx([5.007, 13.532, 20.061, 25.271], abs=0.02)
    assert (surface < adiabatic_saturation(gas)).all()
