"""What spinning does to a wafer, and what a wafer that comes loose does."""

from collections.abc import Mapping

from spinproof.app.calculators.calculator import Answer, Calculator, Inputs, Value, quantity
from spinproof.model.head import HeadSpec
from spinproof.model.quantity import Dimension
from spinproof.physics.containment import CAUTION, fragment_energy, fragment_speed
from spinproof.physics.rotor import rotational_energy
from spinproof.physics.wafer import (
    relative_centrifugal_force,
    spin_stress,
    wafer_inertia,
    wafer_mass,
)

ANISOTROPY = (0.93, 1.03)
"""How far the stress of real silicon lies from the isotropic one, as its law states it. [1]"""


def _compute(inputs: Inputs) -> Answer:
    diameter, edge, speed = (inputs.number(name) for name in ("diameter", "edge", "speed"))
    mass = float(wafer_mass(diameter, inputs.number("thickness")))
    centre = max(edge - diameter / 2, 0.0)
    stress = float(spin_stress(speed, diameter / 2)[0])
    spin = float(rotational_energy(wafer_inertia(mass, diameter), speed))
    results = (
        Value(
            "g",
            "Acceleration at the outermost edge, in multiples of gravity",
            float(relative_centrifugal_force(edge, speed)),
            "1",
            leads=True,
        ),
        Value(
            "stress",
            "Stress at the centre, spinning about it",
            stress,
            "MPa",
            low=ANISOTROPY[0] * stress,
            high=ANISOTROPY[1] * stress,
            note="silicon breaks at tens to hundreds of MPa, by edge damage and contact",
            leads=True,
        ),
        Value("rim", "Speed of the outermost edge", float(fragment_speed(edge, speed)), "m/s"),
        Value("mass", "Mass of the wafer, a full circle", mass, "g"),
        Value(
            "energy",
            "Energy of one wafer that leaves its place, its spin included",
            float(fragment_energy(mass, centre, speed)) + spin,
            "J",
        ),
    )
    beyond = "The edge lies closer to the axis than the wafer's own radius: check the distance."
    return Answer(results, (beyond,) if edge < diameter / 2 else ())


def _from_head(head: HeadSpec) -> Mapping[str, str]:
    return {
        "diameter": f"{head.wafer_diameter_mm:g} mm",
        "edge": f"{1000 * head.wafer_edge_radius_m:g} mm",
        "speed": f"{head.top_speed_rpm:g} rpm",
    }


WAFER = Calculator(
    name="wafer",
    title="Wafer: g and stress",
    task="What a speed means for a wafer: multiples of gravity, edge speed, stress, energy.",
    fields=(
        quantity("diameter", "Diameter", Dimension.LENGTH, "200 mm"),
        quantity("thickness", "Thickness", Dimension.LENGTH, "725 um", uncertain=True),
        quantity(
            "edge",
            "Distance of the outermost wafer edge from the rotor axis",
            Dimension.LENGTH,
            "100 mm",
            "On the axis half the diameter.",
            uncertain=True,
        ),
        quantity("speed", "Speed", Dimension.ROTATION, "2800 rpm", uncertain=True),
    ),
    compute=_compute,
    formula=("RCF = ω² r / g", "σ = (3 + ν)/8 ρ ω² R²", "v = ω r", "E = ½ m (ω r)²"),
    model_error="A thin isotropic disk with a free edge that spins about its centre: silicon lies "
    "7 % below to 3 % above. Contact, chips and resonance are not in it, and they are what breaks "
    "wafers.",
    sources=(
        "S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, rotating disks",
        "standard acceleration of free fall, 3rd CGPM (1901)",
    ),
    cautions=(CAUTION,),
    from_head=_from_head,
)
