"""Permissible residual unbalance of a rotor, by its balance quality grade."""

import math
from collections.abc import Mapping

from spinproof.app.calculators.calculator import Answer, Calculator, Inputs, Value, quantity
from spinproof.model.head import HeadSpec
from spinproof.model.quantity import Dimension
from spinproof.physics.rotor import permissible_unbalance

SHOP_TARGET_MM_S = 2.5
"""Grade that the empty rotor should reach, so that the load finds room below the limit."""


def _compute(inputs: Inputs) -> Answer:
    grade, mass, speed = (inputs.number(name) for name in ("grade", "mass", "speed"))
    whole = float(permissible_unbalance(1e3 * grade, mass, speed))
    target = float(permissible_unbalance(SHOP_TARGET_MM_S, mass, speed))
    return Answer(
        (
            Value("total", "Whole rotor", whole, "g.mm", leads=True),
            Value("plane", "Each of two planes, shared evenly", whole / 2, "g.mm", leads=True),
            Value("eccentricity", "Specific unbalance, as an offset", grade / speed, "um"),
            Value("force", "Centrifugal force of the whole at that speed", whole * speed**2, "N"),
            Value(
                "target",
                f"Whole rotor at grade G {SHOP_TARGET_MM_S:g}, a target for the empty rotor",
                target,
                "g.mm",
                note="common practice: the load, which cannot be balanced, needs the rest",
            ),
        ),
        warnings=("Such a speed is far beyond a dryer: check the unit.",)
        if speed > 5000 * math.pi / 30
        else (),
    )


def _from_head(head: HeadSpec) -> Mapping[str, str]:
    return {"mass": f"{head.rotor_mass_kg:g} kg", "speed": f"{head.top_speed_rpm:g} rpm"}


PERMISSIBLE_UNBALANCE = Calculator(
    name="permissible-unbalance",
    title="Permissible unbalance",
    task="How much residual unbalance a balance quality grade leaves to a rotor.",
    fields=(
        quantity(
            "grade",
            "Balance quality grade G",
            Dimension.VELOCITY,
            "6.3 mm/s",
            "Grade G 6.3 is 6.3 mm/s: centrifuges and general machinery.",
        ),
        quantity("mass", "Mass of the rotor, with all that turns", Dimension.MASS, "16.2 kg",
                 uncertain=True),
        quantity(
            "speed",
            "Highest speed in service",
            Dimension.ROTATION,
            "2000 rpm",
            "The machine's own limit, not that of one recipe.",
            uncertain=True,
        ),
    ),
    compute=_compute,
    formula=("U = G m / ω", "e = G / ω", "F = U ω²"),
    model_error="The grade is agreed, not measured: a rigid rotor is assumed, and nothing else.",
    sources=("ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour",),
    cautions=(
        "A grade without its speed says nothing: print both.",
        "Equal shares hold for a rotor whose planes lie alike about its mass; else share it by "
        "static and couple unbalance.",
    ),
    from_head=_from_head,
)  # fmt: skip
