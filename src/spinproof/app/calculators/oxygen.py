"""Oxygen in a room into which nitrogen leaks: it warns, and clears nothing."""

import math
from collections.abc import Iterator

import numpy as np

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
from spinproof.app.calculators.nitrogen_heater import REFERENCES
from spinproof.figures.course import Level, course
from spinproof.model.judgement import Verdict
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.nitrogen import gas_density, mass_flow_of
from spinproof.physics.room_air import (
    DEFICIENT_OXYGEN,
    fresh_air_needed,
    lasting_oxygen,
    oxygen_share,
    time_to_share,
)

BLOWN, DRAWN = "fresh air is blown in", "room air is drawn out"


def _flows(inputs: Inputs) -> tuple[float, float]:
    """Give fresh air and nitrogen as they are in the room [m³/s]."""
    litres = inputs.number("nitrogen") / UNITS["slm"].factor
    mass = float(mass_flow_of(litres, REFERENCES[inputs.choice("reference")]))
    nitrogen = mass / float(gas_density(inputs.number("room")))
    air = inputs.number("air")
    if inputs.choice("way") == DRAWN:
        air = max(air - nitrogen, 0.0)
    if air == 0 and nitrogen == 0:
        cannot_say("nothing moves in this room", "Give the nitrogen flow.", "nitrogen")
    return air, nitrogen


def _compute(inputs: Inputs) -> Answer:
    air, nitrogen = _flows(inputs)
    volume = inputs.number("volume")
    lasting = float(lasting_oxygen(air, nitrogen))
    falls = float(time_to_share(DEFICIENT_OXYGEN, volume, air, nitrogen))
    results: list[Value | Words] = [_warning(falls)]
    if math.isfinite(falls):
        results.append(Value("time", "Time to 19.5 % in a mixed room", falls, "min", leads=True))
    results.append(Value("lasting", "Oxygen in the end", lasting, "%", leads=True))
    results += _after(inputs, air, nitrogen)
    needed = float(fresh_air_needed(nitrogen))
    results += [
        Value("needed", "Fresh air that keeps 19.5 %, without any margin", needed, "m3/h"),
        Value("nitrogen", "Nitrogen at the temperature of the room", nitrogen, "m3/h"),
    ]
    return Answer(tuple(results))


def _warning(falls: float) -> Words:
    if math.isfinite(falls):
        said = "oxygen falls below 19.5 %: people can lose consciousness without warning"
        return Words("warning", "Warning", said, Verdict.FAIL, leads=True)
    said = "this estimate stays above 19.5 %; it clears no room, the oxygen monitor decides"
    return Words("warning", "Warning", said, leads=True)


def _after(inputs: Inputs, air: float, nitrogen: float) -> Iterator[Value]:
    after = inputs.maybe("after")
    if after is not None:
        share = float(oxygen_share(after, inputs.number("volume"), air, nitrogen))
        yield Value("then", "Oxygen after that time", share, "%")


def _draw(inputs: Inputs) -> str:
    air, nitrogen = _flows(inputs)
    volume = inputs.number("volume")
    falls = float(time_to_share(DEFICIENT_OXYGEN, volume, air, nitrogen))
    end = 1.5 * falls if math.isfinite(falls) and falls > 0 else 4 * volume / (air + nitrogen)
    times = np.linspace(0.0, max(end, inputs.maybe("after") or 0.0), 121)
    shares = 100 * oxygen_share(times, volume, air, nitrogen)
    level = Level(100 * DEFICIENT_OXYGEN, "oxygen-deficient below 19.5 %")
    return course(
        "Oxygen in the mixed room", times.tolist(), shares.tolist(), unit="%", level=level
    )


OXYGEN = Calculator(
    name="oxygen",
    title="Oxygen in the room",
    task="How far nitrogen lowers the oxygen of a room, and how soon: a warning, no clearance.",
    fields=(
        quantity(
            "volume",
            "Volume of the room",
            Dimension.VOLUME,
            "50 m3",
            "Without what stands in it; a pit or a cabin is a room of its own.",
            uncertain=True,
        ),
        quantity(
            "air",
            "Air that is moved",
            Dimension.AIR_FLOW,
            "300 m3/h",
            "Measured, not the fan's plate; 0 m3/h when the fan may stop.",
            uncertain=True,
        ),
        choice("way", "How it is moved", (BLOWN, DRAWN)),
        quantity(
            "nitrogen",
            "Nitrogen that can get into the room",
            Dimension.GAS_FLOW,
            "200 slm",
            "The worst case: all heads purging, or a line torn off.",
            uncertain=True,
        ),
        choice("reference", "Temperature at which the meter counts its litres", tuple(REFERENCES)),
        quantity("room", "Temperature of the room", Dimension.TEMPERATURE, "20 degC"),
        quantity("after", "Time since it began", Dimension.TIME, "10 min", required=False),
    ),
    compute=_compute,
    draw=_draw,
    formula=(
        "x∞ = 0.2095 Qv / (Qv + Qn)",
        "x = x∞ + (x₀ − x∞) e^(−(Qv + Qn) t / V)",
    ),
    model_error="Full mixing is assumed. Near the exhaust, in the bowl, in a pit or behind a "
    "curtain the oxygen is far lower and falls at once.",
    sources=(
        "volume balance of a stirred room",
        "29 CFR 1910.146: oxygen-deficient below 19.5 % by volume",
    ),
    cautions=(
        "This may warn; it never clears a room. An oxygen monitor with an alarm decides, and local "
        "codes come first.",
        "Nobody notices nitrogen. Do not lean into a bowl that was purged: shut the nitrogen, let "
        "it air out, and do not rescue anybody without breathing apparatus.",
    ),
)
