"""Conductivity of nearly pure water against published maxima and a speciation code."""

import numpy as np
import pytest

from spinproof.physics.resistivity import (
    alkaline_conductivity,
    carbonated_conductivity,
    compensated_conductivity,
    dissolved_carbon_dioxide,
    hydrogen_with_carbon_dioxide,
    salted_conductivity,
)
from spinproof.physics.water import pure_water_conductivity

pytestmark = pytest.mark.source(
    "Otten 1981, ASTM STP 742; PHREEQC, phreeqc.dat; Plummer, Busenberg 1982", kind="published"
)


def mohm_cm(conductivity):
    return 1e-4 / conductivity


def test_a_little_lye_raises_the_resistivity_to_its_maximum():
    """18.28 MΩ cm at 0.8 µg/L of NaOH; the rise over pure water is 0.08 to 0.10."""
    lye = np.linspace(0, 2e-9, 401)
    values = mohm_cm(alkaline_conductivity(298.15, lye))

    assert values.max() == pytest.approx(18.28, abs=0.03)
    assert 1e9 * lye[values.argmax()] == pytest.approx(0.8, abs=0.06)
    assert 0.07 < values.max() - values[0] < 0.11


@pytest.mark.parametrize(
    ("ppb", "expected"),
    [(0, 18.149), (1, 17.465), (5, 15.176), (10, 13.040), (50, 6.135), (100, 3.693)],
)
def test_salt_lowers_it_as_the_speciation_code_says(ppb, expected):
    assert mohm_cm(salted_conductivity(298.15, 1e-9 * ppb)) == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize(
    ("ppb", "ph", "expected"),
    [(1, 6.9592, 17.387), (10, 6.6894, 11.319), (100, 6.0897, 3.096), (500, 5.6912, 1.243)],
)
def test_carbon_dioxide_lowers_it_as_the_speciation_code_says(ppb, ph, expected):
    share = 1e-9 * ppb

    assert mohm_cm(carbonated_conductivity(298.15, share)) == pytest.approx(expected, rel=3e-3)
    assert -np.log10(hydrogen_with_carbon_dioxide(298.15, share)) == pytest.approx(ph, abs=1e-3)


def test_water_open_to_room_air_reads_one_megohm_centimetre():
    share = dissolved_carbon_dioxide(298.15, 420e-6 * 101325)

    assert 1e9 * share == pytest.approx(742, abs=2)
    assert mohm_cm(carbonated_conductivity(298.15, share)) == pytest.approx(1.0047, rel=3e-3)
    assert -np.log10(hydrogen_with_carbon_dioxide(298.15, share)) == pytest.approx(5.598, abs=2e-3)


@pytest.mark.parametrize(
    ("celsius", "expected"), [(10, 26.13), (20, 16.31), (40, 7.044), (60, 3.470)]
)
def test_a_sample_compensates_to_the_same_value_at_each_temperature(celsius, expected):
    sample = salted_conductivity(273.15 + celsius, 10e-9)

    assert mohm_cm(sample) == pytest.approx(expected, rel=1e-3)
    at_25 = mohm_cm(compensated_conductivity(sample, 273.15 + celsius))
    assert at_25 == pytest.approx(mohm_cm(salted_conductivity(298.15, 10e-9)), rel=1e-6)


@pytest.mark.source("Marsh, Stokes: polynomial as printed in a public summary", kind="from memory")
def test_pure_water_agrees_with_a_polynomial_from_10_to_60_degrees():
    d = np.linspace(-15, 35, 26)
    micro = 0.05498 + 2.9326e-3 * d + 6.0629e-5 * d**2 + 4.2690e-7 * d**3

    assert 1e4 * pure_water_conductivity(298.15 + d) == pytest.approx(micro, rel=0.01)
