"""What a drive has to give, and how long a rotor runs on."""

from collections.abc import Iterator, Mapping

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    Words,
    quantity,
)
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Verdict
from spinproof.model.quantity import Dimension
from spinproof.physics.drive import (
    drive_power,
    highest_acceleration,
    ramp_torque,
    speed_up_time,
)
from spinproof.physics.rotor import coast_down_time, drag_torque, rotational_energy


def _compute(inputs: Inputs) -> Answer:
    inertia, top, low = (inputs.number(name) for name in ("inertia", "top", "low"))
    fixed, viscous, quadratic = (
        inputs.maybe(name) or 0.0 for name in ("coulomb", "viscous", "quadratic")
    )
    drag = float(drag_torque(top, fixed, viscous, quadratic))
    coast = float(coast_down_time(inertia, fixed, viscous, quadratic, top, low))
    results: list[Value | Words] = [
        Value("coast", "Coast-down from top to low speed, undriven", coast, "s", leads=True),
        *_ramp(inputs, drag),
        *_limited(inputs, (fixed, viscous, quadratic)),
        Value("energy", "Energy of the turning rotor", float(rotational_energy(inertia, top)), "J"),
        Value("drag", "Drag torque at top speed", drag, "N.m"),
        Value("power", "Power that holds the top speed", float(drive_power(drag, top)), "W"),
    ]
    return Answer(tuple(results))


def _ramp(inputs: Inputs, drag: float) -> Iterator[Value | Words]:
    """Give what a ramp to the top speed asks of the motor."""
    ramp, top, limit = inputs.maybe("ramp"), inputs.number("top"), inputs.maybe("limit")
    if ramp is None:
        return
    torque = float(ramp_torque(inputs.number("inertia"), ramp, drag))
    if ramp > 0:
        yield Value("ramp_time", "Time of the ramp from standstill", top / ramp, "s")
    yield Value("torque", "Torque at the end of the ramp", torque, "N.m", leads=True)
    power = float(drive_power(torque, top))
    yield Value("peak", "Power at the end of the ramp", power, "W", leads=True)
    if limit is not None:
        said = f"{torque:.4g} N·m of {limit:.4g} N·m"
        verdict = Verdict.PASS if torque <= limit else Verdict.FAIL
        yield Words("fits", "The motor follows the ramp", said, verdict, leads=True)


def _limited(inputs: Inputs, drags: tuple[float, float, float]) -> Iterator[Value | Words]:
    """Give what the motor does at its limit."""
    inertia, top, limit = inputs.number("inertia"), inputs.number("top"), inputs.maybe("limit")
    if limit is None:
        return
    fixed, viscous, quadratic = drags
    if float(highest_acceleration(inertia, limit, fixed, viscous, quadratic, top)) <= 0:
        said = "never: the drag takes up the motor's whole torque before the top speed"
        yield Words("fastest", "Shortest time to the top speed", said, Verdict.FAIL)
        return
    fastest = float(speed_up_time(inertia, limit, fixed, viscous, quadratic, 0.0, top))
    yield Value("fastest", "Shortest time to the top speed, at the motor's limit", fastest, "s")


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
        quantity("ramp", "Ramp", Dimension.RAMP, "50 rpm/s", required=False),
        quantity(
            "limit",
            "Highest torque of the motor, at the rotor",
            Dimension.TORQUE,
            "4 N.m",
            "Behind a belt: times the ratio.",
            required=False,
        ),
    ),
    compute=_compute,
    formula=("T = J dω/dt + Tc + b ω + k ω²", "P = T ω", "E = ½ J ω²"),
    model_error="Three drag terms that do not change with temperature, seal pressure or exhaust. "
    "How far that is off shows beside a measured coast-down of the head itself.",
    sources=(
        "SAE J1263, road-load coast-down, the same equation of motion (from memory)",
        "Euler's equation about a fixed axis and energy of rotation, any textbook of mechanics",
    ),
    cautions=(
        "A calculated coast-down is no proof that the rotor stands still. Nothing here says that "
        "a door is safe to open: guard locking and zero-speed sensing in hardware do that.",
        "What turns holds this energy until it has stopped; ten per cent of speed is nineteen "
        "per cent of energy.",
    ),
    from_head=_from_head,
)
