"""What a drive has to give, and how long a rotor runs on."""

from collections.abc import Mapping

from spinproof.app.calculators.calculator import Answer, Calculator, Inputs, Value, quantity
from spinproof.model.head import HeadSpec
from spinproof.model.quantity import Dimension
from spinproof.physics.rotor import coast_down_time, drag_torque, rotational_energy


def _compute(inputs: Inputs) -> Answer:
    inertia, top, low = (inputs.number(name) for name in ("inertia", "top", "low"))
    fixed, viscous, quadratic = (
        inputs.maybe(name) or 0.0 for name in ("coulomb", "viscous", "quadratic")
    )
    drag = float(drag_torque(top, fixed, viscous, quadratic))
    results = [
        Value(
            "coast",
            "Coast-down from top to low speed, undriven",
            float(coast_down_time(inertia, fixed, viscous, quadratic, top, low)),
            "s",
            leads=True,
        ),
        Value(
            "energy",
            "Energy of the turning rotor",
            float(rotational_energy(inertia, top)),
            "J",
            leads=True,
        ),
        Value("drag", "Drag torque at top speed", drag, "N.m"),
        Value("power", "Power that holds the top speed", drag * top, "W"),
    ]
    return Answer(tuple(results))  # fmt: skip


def _from_head(head: HeadSpec) -> Mapping[str, str]:
    return {
        "inertia": f"{head.inertia_kg_m2:g} kg.m2",
        "coulomb": f"{head.coulomb_torque_n_m:g} N.m",
        "viscous": f"{head.viscous_drag_n_m_s:g} N.m.s",
        "quadratic": f"{head.quadratic_drag_n_m_s2:g} N.m.s2",
        "top": f"{head.top_speed_rpm:g} rpm",
        "low": f"{head.index_enable_rpm:g} rpm",
        "limit": f"{head.motor_torque_limit_n_m:g} N.m",
    }


DRIVE = Calculator(
    name="drive",
    title="Drive and coast-down",
    task="Torque and power of a ramp, the time it takes, and how long the rotor runs on.",
    fields=(
        quantity(
            "inertia",
            "Moment of inertia of rotor, cassette and wafers",
            Dimension.INERTIA,
            "0.22 kg.m2",
            "Wafers off the axis add their mass times the squared radius.",
            uncertain=True,
        ),
        quantity("top", "Top speed", Dimension.ROTATION, "1750 rpm"),
        quantity("low", "Speed at the end of the coast-down", Dimension.ROTATION, "40 rpm"),
        quantity(
            "coulomb",
            "Drag that does not depend on speed",
            Dimension.TORQUE,
            "0.35 N.m",
            "Contact seals, bearing preload; from a coast-down.",
            uncertain=True,
        ),
        quantity(
            "viscous",
            "Drag per angular speed",
            Dimension.VISCOUS_DRAG,
            "0.0002 N.m.s",
            "Grease, eddy currents.",
            required=False,
            uncertain=True,
        ),
        quantity(
            "quadratic",
            "Drag per squared angular speed",
            Dimension.QUADRATIC_DRAG,
            "2.5e-5 N.m.s2",
            "Windage of rotor and wafers.",
            required=False,
            uncertain=True,
        ),
    ),
    compute=_compute,
    formula=("T = Tc + b ω + k ω²", "J dω/dt = −T", "E = ½ J ω²"),
    model_error="Three drag terms that do not change with temperature, seal pressure or exhaust. "
    "How far that is off shows beside a measured coast-down of the head itself.",
    sources=(
        "SAE J1263, road-load coast-down, the same equation of motion (from memory)",
        "kinetic energy of rotation, any textbook of mechanics",
    ),
    cautions=(
        "A calculated coast-down is no proof that the rotor stands still. Nothing here says that "
        "a door is safe to open: guard locking and zero-speed sensing in hardware do that.",
        "What turns holds this energy until it has stopped; ten per cent of speed is nineteen "
        "per cent of energy.",
    ),
    from_head=_from_head,
)
