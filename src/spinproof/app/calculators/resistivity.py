"""What a resistivity means at its temperature, and what carbon dioxide does to it."""

from collections.abc import Iterator

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    Words,
    cannot_say,
    choice,
    quantity,
)
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.resistivity import (
    carbonated_conductivity,
    compensated_conductivity,
    dissolved_carbon_dioxide,
)
from spinproof.physics.rinse import conductivity_of
from spinproof.physics.water import pure_water_conductivity

AS_READ, BY_METER = "as read, at its temperature", "compensated to 25 °C by the meter"
AT_25 = 298.15
ATMOSPHERE = 101325.0
"""Pressure of the air, standard. [Pa]"""
MOST_ABOVE = 1.005
"""A trace of lye lifts a reading so far above pure water, Otten (1981); more is a fault."""


def _method(temperature: float) -> float:
    """Give the relative standard uncertainty of pure water, as its law states it."""
    t = temperature - 273.15
    if abs(t - 25) < 0.5:
        return 0.003
    if 15 <= t <= 40:
        return 0.01
    return 0.015 if t >= 10 else 0.03


def _compute(inputs: Inputs) -> Answer:
    read = inputs.number("reading")
    meter = inputs.choice("how") == BY_METER
    temperature = AT_25 if meter else inputs.number("temperature")
    pure = 1 / float(pure_water_conductivity(temperature))
    kappa = float(conductivity_of(read / UNITS["MOhm.cm"].factor))
    warmed = float(compensated_conductivity(kappa, temperature))
    if warmed <= 0:
        cannot_say(
            "no water reads so far above pure water", "Check the reading, its unit, the cell."
        )
    at_25 = 1 / warmed
    results: list[Value | Words] = [
        Value(
            "at_25",
            "Resistivity at 25 °C",
            at_25,
            "MOhm.cm",
            uncertainty=at_25 * _method(temperature) * min(read / pure, 1.0),
            leads=True,
        ),
        Value(
            "pure",
            "Pure water at the temperature of the reading",
            pure,
            "MOhm.cm",
            uncertainty=pure * _method(temperature),
            leads=True,
        ),
        Value("share", "Reading by that of pure water", read / pure, "%"),
        *_carbon(inputs, temperature),
    ]
    return Answer(tuple(results), tuple(_warnings(inputs, read / pure, temperature)))


def _carbon(inputs: Inputs, temperature: float) -> Iterator[Value]:
    dissolved, air = inputs.maybe("dissolved"), inputs.maybe("air")
    if dissolved is not None:
        with_it = 1 / float(carbonated_conductivity(temperature, dissolved))
        yield Value(
            "carbonated",
            "Pure water with that carbon dioxide",
            with_it,
            "MOhm.cm",
            uncertainty=with_it * _method(temperature),
            leads=True,
        )
    if air is not None:
        taken = float(dissolved_carbon_dioxide(temperature, air * ATMOSPHERE))
        open_water = 1 / float(carbonated_conductivity(temperature, taken))
        yield Value("open", "Pure water left open to that air", open_water, "MOhm.cm")
        yield Value("taken", "Carbon dioxide that it takes up, by mass", taken, "ppb")


def _warnings(inputs: Inputs, share: float, temperature: float) -> Iterator[str]:
    if share > MOST_ABOVE:
        yield (
            "The reading lies above pure water: the temperature is wrong, the cell constant is "
            "off, or the cell is not full. One kelvin is about 5.6 %."
        )
    air = inputs.maybe("air")
    if air is not None:
        taken = dissolved_carbon_dioxide(temperature, air * ATMOSPHERE)
        least = float(
            pure_water_conductivity(temperature) / carbonated_conductivity(temperature, taken)
        )
        if least < share < 0.97:
            yield (
                "Carbon dioxide from the air can explain this reading alone: purge the bowl with "
                "nitrogen before calling it dirt."
            )


RESISTIVITY = Calculator(
    name="resistivity",
    title="Resistivity at temperature",
    task="What a reading of resistivity is worth: at 25 °C, beside pure water, with CO2.",
    fields=(
        quantity("reading", "Resistivity", Dimension.RESISTIVITY, "7.04 MOhm.cm", uncertain=True),
        choice("how", "How it was read", (AS_READ, BY_METER)),
        quantity(
            "temperature",
            "Temperature of the water at the cell",
            Dimension.TEMPERATURE,
            "40 degC",
            uncertain=True,
        ),
        quantity(
            "dissolved",
            "Carbon dioxide dissolved, by mass",
            Dimension.TRACE_SHARE,
            "50 ppb",
            "Dosed against static charge, or taken up.",
            required=False,
            uncertain=True,
        ),
        quantity(
            "air",
            "Carbon dioxide of the air, by volume",
            Dimension.TRACE_SHARE,
            "420 ppm",
            required=False,
        ),
    ),
    compute=_compute,
    formula=("κ₂₅ = κw(25) + (κ − κw(t)) · s(25) / s(t)", "κw = √Kw (λH + λOH)", "ρ = 1 / κ"),
    model_error="Pure water: 0.3 % at 25 °C, 1 % from 15 to 40 °C, 1.5 % from 10 to 60 °C, 3 % "
    "below (standard uncertainty). What is dissolved is taken for salt: acids are some per cent "
    "off.",
    sources=(
        "IAPWS R11-07(2019), ionization constant of water",
        "R. A. Robinson and R. H. Stokes, Electrolyte Solutions, ionic conductivities",
        "T. S. Light et al., Electrochem. Solid-State Lett. 8, E16 (2005): 18.18 MΩ cm",
        "L. N. Plummer and E. Busenberg, Geochim. Cosmochim. Acta 46, 1011 (1982)",
    ),
    cautions=(
        "Read the feed as well: a drain cannot be better than its feed.",
        "A plain 2 %/K correction of the whole reading is wrong by up to a third for pure water.",
    ),
)
