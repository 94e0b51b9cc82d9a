"""Quantities typed by people: a number with its unit, by a table of our own.

The table is the closed list of units that checks and instruments may use. Turning speed and
frequency are two dimensions and never convert into one another; gauge pressure and pressure
difference are two as well, for a gauge reading says nothing without its reference.
"""

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator

from spinproof.model.errors import UnitError
from spinproof.model.noun import Noun


class Dimension(StrEnum):
    """What a unit measures."""

    LENGTH = "length"
    ANGLE = "angle"
    TIME = "time"
    MASS = "mass"
    UNBALANCE = "unbalance"
    ROTATION = "turning speed"
    RAMP = "rate of turning speed"
    VELOCITY = "velocity"
    FORCE = "force"
    TORQUE = "torque"
    GAUGE_PRESSURE = "gauge pressure"
    PRESSURE_DIFFERENCE = "pressure difference"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature difference"
    VOLUME = "volume"
    FLOW = "liquid flow"
    GAS_FLOW = "gas flow at reference conditions"
    RESISTANCE = "electrical resistance"
    RESISTIVITY = "resistivity"
    VOLTAGE = "voltage"
    CURRENT = "electric current"
    POWER = "power"
    FREQUENCY = "frequency"
    SOUND_LEVEL = "sound level"
    RATIO = "ratio"
    COUNT = "count"
    AREA = "area"
    AIR_FLOW = "air flow"
    DENSITY = "density"
    INERTIA = "moment of inertia"
    VISCOUS_DRAG = "drag per angular speed"
    QUADRATIC_DRAG = "drag per squared angular speed"
    ENERGY = "energy"
    STRESS = "stress"
    COUPLE_UNBALANCE = "couple unbalance"
    TRACE_SHARE = "share in traces"
    HEAT_CONDUCTANCE = "heat conductance"
    HEAT_CAPACITY = "heat capacity"
    CHARGE = "electric charge"
    CURRENT_DENSITY = "current density"


@dataclass(frozen=True)
class Unit:
    """One unit: value in the dimension's base = number x factor + offset."""

    symbol: str
    """How the program writes it."""
    dimension: Dimension
    factor: float
    """Size of one unit in the dimension's base unit: SI where SI has one."""
    offset: float = 0.0
    spellings: tuple[str, ...] = ()
    """Further ways in which people write it; upper and lower case matter."""


_TURN = 2 * math.pi / 60
_LITRE_PER_MINUTE = 1e-3 / 60

_TABLE = (
    Unit("mm", Dimension.LENGTH, 1e-3),
    Unit("um", Dimension.LENGTH, 1e-6, spellings=("µm", "μm")),
    Unit("m", Dimension.LENGTH, 1.0),
    Unit("in", Dimension.LENGTH, 0.0254, spellings=("inch",)),
    Unit("deg", Dimension.ANGLE, math.pi / 180, spellings=("°",)),
    Unit("rad", Dimension.ANGLE, 1.0),
    Unit("s", Dimension.TIME, 1.0, spellings=("sec",)),
    Unit("ms", Dimension.TIME, 1e-3),
    Unit("min", Dimension.TIME, 60.0),
    Unit("h", Dimension.TIME, 3600.0),
    Unit("kg", Dimension.MASS, 1.0),
    Unit("g", Dimension.MASS, 1e-3),
    Unit("mg", Dimension.MASS, 1e-6),
    Unit("g.mm", Dimension.UNBALANCE, 1e-6),
    Unit("rpm", Dimension.ROTATION, _TURN, spellings=("r/min", "1/min", "rev/min", "/min")),
    Unit("rad/s", Dimension.ROTATION, 1.0),
    Unit("rpm/s", Dimension.RAMP, _TURN),
    Unit("mm/s", Dimension.VELOCITY, 1e-3),
    Unit("in/s", Dimension.VELOCITY, 0.0254),
    Unit("m/s", Dimension.VELOCITY, 1.0),
    Unit("N", Dimension.FORCE, 1.0),
    Unit("lbf", Dimension.FORCE, 0.45359237 * 9.80665),
    Unit("N.m", Dimension.TORQUE, 1.0, spellings=("Nm",)),
    Unit("kPa_g", Dimension.GAUGE_PRESSURE, 1e3),
    Unit("bar_g", Dimension.GAUGE_PRESSURE, 1e5),
    Unit("psi_g", Dimension.GAUGE_PRESSURE, 0.45359237 * 9.80665 / 0.0254**2),
    Unit("Pa", Dimension.PRESSURE_DIFFERENCE, 1.0),
    Unit("kPa", Dimension.PRESSURE_DIFFERENCE, 1e3),
    Unit("mbar", Dimension.PRESSURE_DIFFERENCE, 100.0),
    Unit("bar", Dimension.PRESSURE_DIFFERENCE, 1e5),
    Unit("psi", Dimension.PRESSURE_DIFFERENCE, 0.45359237 * 9.80665 / 0.0254**2),
    Unit("degC", Dimension.TEMPERATURE, 1.0, 273.15, ("°C", "C")),
    Unit("degF", Dimension.TEMPERATURE, 5 / 9, 459.67 * 5 / 9, ("°F", "F")),
    Unit("K", Dimension.TEMPERATURE_DIFFERENCE, 1.0),
    Unit("mL", Dimension.VOLUME, 1e-6, spellings=("ml",)),
    Unit("L", Dimension.VOLUME, 1e-3, spellings=("l",)),
    Unit("m3", Dimension.VOLUME, 1.0, spellings=("m³",)),
    Unit("L/min", Dimension.FLOW, _LITRE_PER_MINUTE, spellings=("l/min",)),
    Unit("mL/min", Dimension.FLOW, _LITRE_PER_MINUTE * 1e-3, spellings=("ml/min",)),
    Unit("gal/min", Dimension.FLOW, 231 * 0.0254**3 / 60),
    Unit("slm", Dimension.GAS_FLOW, _LITRE_PER_MINUTE, spellings=("NL/min",)),
    Unit("Nm3/h", Dimension.GAS_FLOW, 1 / 3600, spellings=("Nm³/h",)),
    Unit("Ohm", Dimension.RESISTANCE, 1.0, spellings=("Ω", "ohm")),
    Unit("mOhm", Dimension.RESISTANCE, 1e-3, spellings=("mΩ",)),
    Unit("kOhm", Dimension.RESISTANCE, 1e3, spellings=("kΩ",)),
    Unit("MOhm", Dimension.RESISTANCE, 1e6, spellings=("MΩ",)),
    Unit("MOhm.cm", Dimension.RESISTIVITY, 1e4, spellings=("MΩ.cm",)),
    Unit("V", Dimension.VOLTAGE, 1.0),
    Unit("mV", Dimension.VOLTAGE, 1e-3),
    Unit("kV", Dimension.VOLTAGE, 1e3),
    Unit("A", Dimension.CURRENT, 1.0),
    Unit("W", Dimension.POWER, 1.0),
    Unit("Hz", Dimension.FREQUENCY, 1.0),
    Unit("dB(A)", Dimension.SOUND_LEVEL, 1.0, spellings=("dBA",)),
    Unit("%", Dimension.RATIO, 0.01),
    Unit("1", Dimension.COUNT, 1.0, spellings=("", "pcs")),
    Unit("dm2", Dimension.AREA, 1e-2, spellings=("dm²",)),
    Unit("cm2", Dimension.AREA, 1e-4, spellings=("cm²",)),
    Unit("m2", Dimension.AREA, 1.0, spellings=("m²",)),
    Unit("m3/h", Dimension.AIR_FLOW, 1 / 3600, spellings=("m³/h",)),
    Unit("m3/s", Dimension.AIR_FLOW, 1.0, spellings=("m³/s",)),
    Unit("kg/m3", Dimension.DENSITY, 1.0, spellings=("kg/m³",)),
    Unit("g/cm3", Dimension.DENSITY, 1e3, spellings=("g/cm³",)),
    Unit("kg.m2", Dimension.INERTIA, 1.0, spellings=("kg.m²", "kg m2", "kg m²")),
    Unit("N.m.s", Dimension.VISCOUS_DRAG, 1.0, spellings=("N m s", "Nms")),
    Unit("N.m.s2", Dimension.QUADRATIC_DRAG, 1.0, spellings=("N.m.s²", "N m s2", "N m s²")),
    Unit("J", Dimension.ENERGY, 1.0),
    Unit("kJ", Dimension.ENERGY, 1e3),
    Unit("MPa", Dimension.STRESS, 1e6),
    Unit("g.mm2", Dimension.COUPLE_UNBALANCE, 1e-9, spellings=("g.mm²", "g mm2", "g mm²")),
    Unit("ppb", Dimension.TRACE_SHARE, 1e-9),
    Unit("ppm", Dimension.TRACE_SHARE, 1e-6),
    Unit("W/K", Dimension.HEAT_CONDUCTANCE, 1.0),
    Unit("J/K", Dimension.HEAT_CAPACITY, 1.0),
    Unit("A.h", Dimension.CHARGE, 3600.0, spellings=("Ah", "A h")),
    Unit("A/dm2", Dimension.CURRENT_DENSITY, 100.0, spellings=("A/dm²",)),
)

UNITS: dict[str, Unit] = {unit.symbol: unit for unit in _TABLE}
"""Every unit by its symbol."""

_SPELLED = {spelling: unit for unit in _TABLE for spelling in (unit.symbol, *unit.spellings)}
_NUMBER = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(.*)")
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


BASES = {
    Dimension.LENGTH: "m",
    Dimension.ANGLE: "rad",
    Dimension.TIME: "s",
    Dimension.MASS: "kg",
    Dimension.UNBALANCE: "kg m",
    Dimension.ROTATION: "rad/s",
    Dimension.RAMP: "rad/s2",
    Dimension.VELOCITY: "m/s",
    Dimension.FORCE: "N",
    Dimension.TORQUE: "N m",
    Dimension.GAUGE_PRESSURE: "Pa above the surroundings",
    Dimension.PRESSURE_DIFFERENCE: "Pa",
    Dimension.TEMPERATURE: "K",
    Dimension.TEMPERATURE_DIFFERENCE: "K",
    Dimension.VOLUME: "m3",
    Dimension.FLOW: "m3/s",
    Dimension.GAS_FLOW: "m3/s at reference conditions",
    Dimension.RESISTANCE: "Ohm",
    Dimension.RESISTIVITY: "Ohm m",
    Dimension.VOLTAGE: "V",
    Dimension.CURRENT: "A",
    Dimension.POWER: "W",
    Dimension.FREQUENCY: "Hz",
    Dimension.SOUND_LEVEL: "dB(A)",
    Dimension.RATIO: "1",
    Dimension.COUNT: "1",
    Dimension.AREA: "m2",
    Dimension.AIR_FLOW: "m3/s",
    Dimension.DENSITY: "kg/m3",
    Dimension.INERTIA: "kg m2",
    Dimension.VISCOUS_DRAG: "N m s",
    Dimension.QUADRATIC_DRAG: "N m s2",
    Dimension.ENERGY: "J",
    Dimension.STRESS: "Pa",
    Dimension.COUPLE_UNBALANCE: "kg m2",
    Dimension.TRACE_SHARE: "1",
    Dimension.HEAT_CONDUCTANCE: "W/K",
    Dimension.HEAT_CAPACITY: "J/K",
    Dimension.CHARGE: "C",
    Dimension.CURRENT_DENSITY: "A/m2",
}
"""The base of each dimension, in which its factors count: SI where SI has one."""


def units_of(dimension: Dimension) -> tuple[str, ...]:
    """Give the units of a dimension, the customary one first."""
    return tuple(unit.symbol for unit in _TABLE if unit.dimension is dimension)


def _known_unit(symbol: str) -> str:
    if symbol not in UNITS:
        msg = f'unit "{symbol}" is not one of: {", ".join(UNITS)}'
        raise ValueError(msg)
    return symbol


UnitSymbol = Annotated[str, AfterValidator(_known_unit)]
"""A unit as the program writes it; one of the table."""


class Quantity(Noun):
    """A number with its unit."""

    value: float
    unit: UnitSymbol

    @property
    def dimension(self) -> Dimension:
        """What the unit measures."""
        return UNITS[self.unit].dimension

    @property
    def base(self) -> float:
        """The value in the base of its dimension: SI where SI has one."""
        unit = UNITS[self.unit]
        return self.value * unit.factor + unit.offset

    def to(self, unit: str) -> "Quantity":
        """Give the same quantity in another unit.

        Parameters
        ----------
        unit : str
            Symbol of the other unit.

        Returns
        -------
        Quantity
            The quantity in that unit; the very same one when the unit does not change.

        Raises
        ------
        UnitError
            If the unit is unknown, or of another dimension.
        """
        if unit == self.unit:
            return self
        known = read_unit(unit, self.dimension, where=f"quantity {self}")
        return Quantity(value=(self.base - known.offset) / known.factor, unit=known.symbol)

    def __str__(self) -> str:
        """Write number and unit, as in "12.5 kPa_g"; a count stands alone."""
        return f"{self.value:g}" if self.unit == "1" else f"{self.value:g} {self.unit}"


def read_unit(text: str, dimension: Dimension, *, where: str) -> Unit:
    """Find the unit that a person wrote.

    Parameters
    ----------
    text : str
        The unit as written, for example "bar(g)", "MΩ·cm" or "l/min".
    dimension : Dimension
        What it should measure.
    where : str
        The field it was written in, for the message.

    Returns
    -------
    Unit
        The unit.

    Raises
    ------
    UnitError
        If the unit is missing, unknown or of another dimension.
    """
    unit = _SPELLED.get(_tidy(text))
    if unit is not None and unit.dimension is dimension:
        return unit
    if not text.strip():
        problem = f"the unit is missing, and {dimension} is expected"
    elif unit is None:
        problem = f'the unit "{text.strip()}" is not known'
    elif {unit.dimension, dimension} == {Dimension.GAUGE_PRESSURE, Dimension.PRESSURE_DIFFERENCE}:
        problem = f"{unit.symbol} says {unit.dimension}, and {dimension} is expected"
    else:
        problem = f'"{text.strip()}" is a unit of {unit.dimension}, and {dimension} is expected'
    accepted = ", ".join(_printable(symbol) for symbol in units_of(dimension))
    raise UnitError(problem, where=where, mend=f"Write the number with one of: {accepted}.")


def parse_quantity(text: str, dimension: Dimension, *, where: str) -> Quantity:
    """Read a number with its unit as a person typed it.

    Parameters
    ----------
    text : str
        For example "12.5 kPa", "2,8 bar(g)" or "450 rpm". Point and comma both mark decimals;
        a comma before exactly three digits is refused, for it could mark thousands.
    dimension : Dimension
        What is asked for. A count needs no unit; everything else does.
    where : str
        The field it was typed in, for the message.

    Returns
    -------
    Quantity
        The quantity in the unit that was typed, in the program's spelling.

    Raises
    ------
    UnitError
        If there is no number, if the number is ambiguous or too large, or if the unit is
        missing, unknown or of another dimension.
    """
    number, unit_text = _split(text, dimension, where)
    unit = read_unit(unit_text, dimension, where=where)
    value = float(number.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(
            f'"{number}" is too large a number', where=where, mend="Check the number of zeros."
        )
    if dimension is Dimension.COUNT and not (value.is_integer() and value >= 0):
        raise UnitError(f"{number} is not a count", where=where, mend="Write a whole number.")
    return Quantity(value=value, unit=unit.symbol)


def _split(text: str, dimension: Dimension, where: str) -> tuple[str, str]:
    """Split what was typed into number and unit.

    Raises
    ------
    UnitError
        If there is no number, or one that can be read in two ways.
    """
    match = _NUMBER.fullmatch(text.strip().replace("\N{MINUS SIGN}", "-"))
    if match is None:
        raise UnitError(
            f'"{text.strip()}" does not begin with a number',
            where=where,
            mend=f'Write a number and its unit, for example "12.5 {units_of(dimension)[0]}".',
        )
    number, unit_text = match.groups()
    if _MAYBE_THOUSANDS.fullmatch(number):
        decimal, whole = number.replace(",", "."), number.replace(",", "")
        raise UnitError(
            f'"{number}" can be read as {decimal} or as {whole}',
            where=where,
            mend=f"Write {decimal} or {whole}.",
        )
    if unit_text.startswith(tuple("0123456789.,")) and _tidy(unit_text) not in _SPELLED:
        raise UnitError(
            f'"{text.strip()}" does not begin with one plain number',
            where=where,
            mend="Write its digits together, with one decimal point or comma at most.",
        )
    return number, unit_text


def _tidy(text: str) -> str:
    """Bring the ways of writing a unit to one: products by points, gauge by "_g"."""
    tidy = re.sub(r"\s*[·⋅*]\s*|(?<=[A-Za-zΩ])\s+(?=(cm|mm|m)$)", ".", text.strip())
    tidy = re.sub(r"\s*(\(g\)|\s(g|gauge)|_g)$", "_g", tidy)
    tidy = re.sub(r"^(bar|psi)g$", r"\1_g", tidy)
    return tidy.replace("\N{OHM SIGN}", "Ω")


def _printable(symbol: str) -> str:
    if symbol == "1":
        return "a whole number"
    return symbol.replace("_g", "(g)") if symbol.endswith("_g") else symbol
