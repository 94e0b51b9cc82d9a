"""How warm a heater makes the nitrogen, and how soon."""

from collections.abc import Mapping

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    choice,
    quantity,
)
from spinproof.model.head import HeadSpec
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.nitrogen import heater_rise, mass_flow_of

REFERENCES = {"0 °C": 273.15, "20 °C": 293.15}
"""Temperatures that flow meters count standard litres at. [K]"""
PROPERTIES_UP_TO = 273.15 + 80
"""Up to here the specific heat is the one that was checked. [K]"""
LONG = 1e9
"""Longer than any warm-up. [s]"""


def _compute(inputs: Inputs) -> Answer:
    power, inlet = inputs.number("power"), inputs.number("inlet")
    litres = inputs.number("flow") / UNITS["slm"].factor
    flow = float(mass_flow_of(litres, REFERENCES[inputs.choice("reference")]))
    loss, capacity = inputs.maybe("loss") or 0.0, inputs.number("capacity")
    final = float(heater_rise(power, flow, loss, capacity, LONG))
    results = [
        Value("final", "Nitrogen in the end", inlet + final, "degC", leads=True),
        Value("rise", "Rise above the inlet in the end", final, "K"),
    ]
    if power > 0:
        results.append(Value("constant", "Time constant", capacity * final / power, "s"))
    after = inputs.maybe("after")
    if after is not None:
        warm = inlet + float(heater_rise(power, flow, loss, capacity, after))
        results.insert(1, Value("then", "Nitrogen after that time", warm, "degC", leads=True))
    return Answer(tuple(results), _warnings(inlet + final))


def _warnings(final: float) -> tuple[str, ...]:
    if final <= PROPERTIES_UP_TO:
        return ()
    return (
        "Above 80 °C the specific heat was not checked, and plastics of bowl, filter and window "
        "may not bear it: more flow, or less power.",
    )


def _from_head(head: HeadSpec) -> Mapping[str, str]:
    return {"power": f"{head.heater_w:g} W", "flow": f"{head.n2_flow_slm:g} slm"}


NITROGEN_HEATER = Calculator(
    name="nitrogen-heater",
    title="Nitrogen heater",
    task="How warm a heater makes the nitrogen behind it, and how soon.",
    fields=(
        quantity(
            "power",
            "Power that the element really takes",
            Dimension.POWER,
            "600 W",
            "It follows the square of the voltage.",
            uncertain=True,
        ),
        quantity("flow", "Nitrogen flow", Dimension.GAS_FLOW, "120 slm", uncertain=True),
        choice(
            "reference",
            "Temperature at which the meter counts its litres",
            tuple(REFERENCES),
            "Meters differ; the wrong one is 7 % of the flow.",
        ),
        quantity("inlet", "Nitrogen at the inlet", Dimension.TEMPERATURE, "20 degC"),
        quantity(
            "loss",
            "Heat that housing and line lose to the room",
            Dimension.HEAT_CONDUCTANCE,
            "1.0 W/K",
            "From a warm-up; without one the answer is an upper bound.",
            required=False,
            uncertain=True,
        ),
        quantity(
            "capacity",
            "Heat capacity of element and housing",
            Dimension.HEAT_CAPACITY,
            "800 J/K",
            "Power by the initial slope of a warm-up.",
            uncertain=True,
        ),
        quantity("after", "Time since it was switched on", Dimension.TIME, "120 s", required=False),
    ),
    compute=_compute,
    formula=("ΔT = P / (ṁ c + K) · (1 − e^(−t/τ))", "τ = C / (ṁ c + K)"),
    model_error="One heat capacity for element and housing; the line behind the heater cools the "
    "gas further, so a sensor at the bowl reads less.",
    sources=(
        "energy balance, any textbook of heat transfer",
        "specific heat of nitrogen 1041.4 J/(kg K), as CoolProp 8 gives it between 20 and 80 °C",
    ),
    cautions=(
        "No flow, no heat: an element without flow burns out. A hard-wired flow interlock keeps it "
        "from that, and the wet test proves it; this page does neither.",
        "Mains at the element: isolate, lock out and prove dead before touching it.",
        "Nitrogen takes the place of air: look at the oxygen calculator for the room.",
    ),
    from_head=_from_head,
)
