"""Quantities typed by people: what is read, and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from spinproof.model.errors import UnitError
from spinproof.model.quantity import BASES, UNITS, Dimension, Quantity, parse_quantity, units_of


def parsed(text: str, dimension: Dimension) -> Quantity:
    return parse_quantity(text, dimension, where="check W-04")


def refusal(text: str, dimension: Dimension) -> UnitError:
    with pytest.raises(UnitError) as caught:
        parsed(text, dimension)
    return caught.value


@pytest.mark.parametrize(
    ("text", "dimension", "value", "unit"),
    [
        ("12.5 kPa", Dimension.PRESSURE_DIFFERENCE, 12.5, "kPa"),
        ("12,5 kPa", Dimension.PRESSURE_DIFFERENCE, 12.5, "kPa"),
        ("12.5kPa", Dimension.PRESSURE_DIFFERENCE, 12.5, "kPa"),
        ("2.8 bar(g)", Dimension.GAUGE_PRESSURE, 2.8, "bar_g"),
        ("2,8 barg", Dimension.GAUGE_PRESSURE, 2.8, "bar_g"),
        ("2.8 bar g", Dimension.GAUGE_PRESSURE, 2.8, "bar_g"),
        ("200 kPa (g)", Dimension.GAUGE_PRESSURE, 200.0, "kPa_g"),
        ("200 kPa gauge", Dimension.GAUGE_PRESSURE, 200.0, "kPa_g"),
        ("60 psig", Dimension.GAUGE_PRESSURE, 60.0, "psi_g"),
        ("450 rpm", Dimension.ROTATION, 450.0, "rpm"),
        ("450 1/min", Dimension.ROTATION, 450.0, "rpm"),
        ("50 rpm/s", Dimension.RAMP, 50.0, "rpm/s"),
        ("17.6 MΩ·cm", Dimension.RESISTIVITY, 17.6, "MOhm.cm"),
        ("17.6 MOhm cm", Dimension.RESISTIVITY, 17.6, "MOhm.cm"),
        ("61 g·mm", Dimension.UNBALANCE, 61.0, "g.mm"),
        ("61 g mm", Dimension.UNBALANCE, 61.0, "g.mm"),
        ("2.5 Nm", Dimension.TORQUE, 2.5, "N.m"),
        ("0,350 mm", Dimension.LENGTH, 0.35, "mm"),
        ("0.34 µm", Dimension.LENGTH, 0.34, "um"),
        ("80 °C", Dimension.TEMPERATURE, 80.0, "degC"),
        ("\N{MINUS SIGN}3 K", Dimension.TEMPERATURE_DIFFERENCE, -3.0, "K"),
        ("120\N{NO-BREAK SPACE}slm", Dimension.GAS_FLOW, 120.0, "slm"),
        ("1e3 Ohm", Dimension.RESISTANCE, 1000.0, "Ohm"),
        ("13", Dimension.COUNT, 13.0, "1"),
        ("13 pcs", Dimension.COUNT, 13.0, "1"),
        ("62 dB(A)", Dimension.SOUND_LEVEL, 62.0, "dB(A)"),
        ("0.22 kg m²", Dimension.INERTIA, 0.22, "kg.m2"),
        ("0.22 kg·m2", Dimension.INERTIA, 0.22, "kg.m2"),
        ("2.5e-5 N m s²", Dimension.QUADRATIC_DRAG, 2.5e-5, "N.m.s2"),
        ("37.58 dm²", Dimension.AREA, 37.58, "dm2"),
    ],
)
def test_people_write_units_in_their_ways(text, dimension, value, unit):
    assert parsed(text, dimension) == Quantity(value=value, unit=unit)


def test_a_bare_number_is_refused_with_the_accepted_units():
    error = refusal("200", Dimension.GAUGE_PRESSURE)

    assert error.what == "the unit is missing, and gauge pressure is expected"
    assert error.mend == "Write the number with one of: kPa(g), bar(g), psi(g)."
    assert error.where == "check W-04"


def test_pressure_without_its_reference_is_no_gauge_pressure():
    assert "kPa says pressure difference" in refusal("200 kPa", Dimension.GAUGE_PRESSURE).what


def test_turning_speed_and_frequency_never_convert():
    error = refusal("29.2 Hz", Dimension.ROTATION)

    assert error.what == '"Hz" is a unit of frequency, and turning speed is expected'
    with pytest.raises(UnitError):
        Quantity(value=1750, unit="rpm").to("Hz")


def test_a_comma_that_could_mark_thousands_is_refused():
    error = refusal("1,200 rpm", Dimension.ROTATION)

    assert error.what == '"1,200" can be read as 1.200 or as 1200'
    assert parsed("1,20 rpm", Dimension.ROTATION).value == 1.2


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("5 mohm", Dimension.RESISTANCE, "not known"),  # milli or mega: it is not guessed
        ("abc", Dimension.LENGTH, "does not begin with a number"),
        ("", Dimension.LENGTH, "does not begin with a number"),
        ("mm 3", Dimension.LENGTH, "does not begin with a number"),
        ("nan mm", Dimension.LENGTH, "does not begin with a number"),
        (".5 mm", Dimension.LENGTH, "does not begin with a number"),
        ("1 200 rpm", Dimension.ROTATION, "one plain number"),
        ("1.200,5 mm", Dimension.LENGTH, "one plain number"),
        ("1e999 mm", Dimension.LENGTH, "too large"),
        ("1.5", Dimension.COUNT, "not a count"),
        ("-1", Dimension.COUNT, "not a count"),
        ("200 g", Dimension.GAUGE_PRESSURE, "unit of mass"),
        ("80 K", Dimension.TEMPERATURE, "unit of temperature difference"),
    ],
)
def test_what_is_no_quantity_of_this_kind_is_refused(text, dimension, words):
    error = refusal(text, dimension)

    assert words in error.what
    assert error.mend


def test_a_quantity_in_a_unit_that_is_not_in_the_table_cannot_be_made():
    with pytest.raises(ValidationError, match="furlong"):
        Quantity(value=1, unit="furlong")


@given(value=st.floats(-1e5, 1e5), symbol=st.sampled_from(sorted(set(UNITS) - {"1"})))
def test_what_is_printed_can_be_typed_again(value: float, symbol: str):
    written = Quantity(value=float(f"{value:g}"), unit=symbol)

    assert parsed(str(written), written.dimension) == written


def test_every_dimension_has_units_and_a_base():
    assert all(units_of(dimension) for dimension in Dimension)
    assert set(BASES) == set(Dimension)
    assert Quantity(value=25.0, unit="degC").base == pytest.approx(298.15)
