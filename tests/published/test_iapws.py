"""Properties of water against releases of the International Association (IAPWS).

Values at whole degrees are IAPWS-95 with R12-08 as two open libraries print them alike; the
ionization constants are the verification table of R11 (from memory), the density is Kell's
formula of 1975 against IAPWS-95.
"""

import numpy as np
import pytest

from spinproof.physics.water import (
    density,
    dynamic_viscosity,
    ionization_exponent,
    kinematic_viscosity,
    pure_water_conductivity,
    saturation_pressure,
)

pytestmark = pytest.mark.source(
    "IAPWS R12-08, SR6-08(2011), R6-95, SR1-86(1992), R11-07(2019)", kind="published"
)

CELSIUS = 273.15 + np.array([10.0, 20.0, 25.0, 40.0, 60.0])


def test_viscosity_agrees_with_the_release():
    mpa_s = [1.305900, 1.001596, 0.890023, 0.652729, 0.466035]

    assert 1e3 * dynamic_viscosity(CELSIUS) == pytest.approx(mpa_s, rel=5e-5)


def test_density_agrees_with_the_release():
    kg_m3 = [999.7025, 998.2072, 997.0476, 992.2164, 983.1958]

    assert density(CELSIUS) == pytest.approx(kg_m3, abs=0.004)


def test_kinematic_viscosity_at_25_degrees_is_the_handbooks():
    assert kinematic_viscosity(298.15) == pytest.approx(8.92658e-7, rel=5e-5)


def test_vapour_pressure_agrees_with_the_release():
    pascal = [1228.199, 2339.318, 3169.929, 7384.938, 19946.434]

    assert saturation_pressure(CELSIUS) == pytest.approx(pascal, rel=1e-4)
    assert saturation_pressure(300.0) == pytest.approx(3536.589, rel=2e-4)
    assert saturation_pressure(373.1243) == pytest.approx(101325.02, rel=1e-6)


@pytest.mark.parametrize(
    ("kelvin", "g_cm3", "exponent"),
    [
        (300.0, 1.0, 13.906565),
        (600.0, 0.07, 21.048874),
        (600.0, 0.7, 11.203153),
        (800.0, 0.2, 15.089765),
        (800.0, 1.2, 6.438330),
    ],
)
def test_the_ionization_constant_agrees_with_the_releases_table(kelvin, g_cm3, exponent):
    assert ionization_exponent(kelvin, 1000 * g_cm3) == pytest.approx(exponent, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "mohm_cm", "relative"), [(25, 18.18, 0.003), (20, 23.94, 0.01), (40, 8.768, 0.01)]
)
def test_pure_water_has_its_known_resistivity(celsius, mohm_cm, relative):
    """18.18 MΩ cm at 25 °C: Light et al. 2005. The others: the polynomial of Marsh and Stokes."""
    conductivity = pure_water_conductivity(273.15 + celsius)

    assert 1e-4 / conductivity == pytest.approx(mohm_cm, rel=relative)
