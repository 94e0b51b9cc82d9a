"""Our table of units against the constants of SciPy, which follow CODATA and NIST SP 811."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from spinproof.model.quantity import UNITS, Quantity

pytestmark = pytest.mark.source("scipy.constants (CODATA, NIST SP 811)", kind="independent route")

FACTORS = {
    "mm": constants.milli,
    "um": constants.micro,
    "in": constants.inch,
    "deg": constants.degree,
    "min": constants.minute,
    "h": constants.hour,
    "g": constants.gram,
    "mg": constants.milli * constants.gram,
    "g.mm": constants.gram * constants.milli,
    "rpm": 2 * constants.pi / constants.minute,
    "rpm/s": 2 * constants.pi / constants.minute,
    "mm/s": constants.milli,
    "in/s": constants.inch,
    "lbf": constants.pound_force,
    "kPa_g": constants.kilo,
    "bar_g": constants.bar,
    "psi_g": constants.psi,
    "kPa": constants.kilo,
    "mbar": constants.milli * constants.bar,
    "bar": constants.bar,
    "psi": constants.psi,
    "degF": constants.degree_Fahrenheit,
    "mL": constants.milli * constants.liter,
    "L": constants.liter,
    "L/min": constants.liter / constants.minute,
    "mL/min": constants.milli * constants.liter / constants.minute,
    "gal/min": constants.gallon / constants.minute,
    "slm": constants.liter / constants.minute,
    "Nm3/h": 1 / constants.hour,
    "mOhm": constants.milli,
    "kOhm": constants.kilo,
    "MOhm": constants.mega,
    "MOhm.cm": constants.mega * constants.centi,
    "mV": constants.milli,
    "kV": constants.kilo,
    "ms": constants.milli,
    "%": constants.centi,
    "dm2": constants.deci**2,
    "cm2": constants.centi**2,
    "m3/h": 1 / constants.hour,
    "g/cm3": constants.gram / constants.centi**3,
    "kJ": constants.kilo,
    "MPa": constants.mega,
    "g.mm2": constants.gram * constants.milli**2,
    "ppb": constants.nano,
    "ppm": constants.micro,
    "A.h": constants.hour,
    "A/dm2": 1 / constants.deci**2,
}


@pytest.mark.parametrize(("symbol", "factor"), FACTORS.items())
def test_factors_agree(symbol: str, factor: float):
    assert UNITS[symbol].factor == pytest.approx(factor, rel=1e-14)


def test_every_factor_that_is_not_one_is_compared():
    assert {s for s, unit in UNITS.items() if unit.factor != 1} - set(FACTORS) == set()


@pytest.mark.parametrize("fahrenheit", [-459.67, -40.0, 32.0, 176.0, 212.0])
def test_temperatures_agree(fahrenheit: float):
    expected = constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius")

    converted = Quantity(value=fahrenheit, unit="degF").to("degC")
    assert converted.value == pytest.approx(float(expected), abs=1e-9)


def test_a_turn_a_second_is_sixty_rpm():
    assert Quantity(value=2 * math.pi, unit="rad/s").to("rpm").value == pytest.approx(60)


@given(
    value=st.floats(-1e6, 1e6),
    pair=st.sampled_from(
        [(a, b) for a in UNITS for b in UNITS if UNITS[a].dimension is UNITS[b].dimension]
    ),
)
def test_there_and_back_is_the_same(value: float, pair: tuple[str, str]):
    here, there = pair
    back = Quantity(value=value, unit=here).to(there).to(here)

    assert back.value == pytest.approx(value, rel=1e-9, abs=1e-9)
