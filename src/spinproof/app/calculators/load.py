"""What a load of wafers does to the balance of a rotor, and which slots are the best ones."""

import cmath
import math
from collections.abc import Iterator, Mapping
from typing import Any

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    SlotOf,
    Value,
    Words,
    cannot_say,
    choice,
    number,
    quantity,
    slots,
)
from spinproof.app.calculators.slots import write_slots
from spinproof.figures.slot_picture import CassettePicture, slot_picture
from spinproof.model.head import HeadSpec, RotorAxis
from spinproof.model.judgement import Verdict
from spinproof.model.load import Load
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.load_balance import (
    LoadBalance,
    balance_of,
    dummies_needed,
    spread_mass_unbalance,
)
from spinproof.plan.loads import place_load
from spinproof.stats.conformity import decide
from spinproof.stats.decision_rules import GUARDED, SIMPLE

MOST_CASSETTES, MOST_SLOTS = 8, 50
COUNTED = {"cassettes": "cassettes", "each": "slots of a cassette"}
NOTHING = 1e-9
"""Share of the limit that is rounding alone."""
GRAM_MM = UNITS["g.mm"].factor
COUPLE = UNITS["g.mm2"].factor


def _rotor(inputs: Inputs) -> HeadSpec:
    """Give the head as far as its balance goes."""
    cassettes = _whole(inputs, "cassettes", MOST_CASSETTES)
    each = _whole(inputs, "each", MOST_SLOTS)
    axis = RotorAxis(inputs.choice("axis"))
    radius, pitch, planes = (inputs.maybe(name) for name in ("radius", "pitch", "planes"))
    if axis is RotorAxis.OFF_AXIS and radius is None:
        cannot_say("the radius of the cassettes is missing", "Give it for an off-axis rotor.")
    if axis is RotorAxis.ON_AXIS and cassettes > 1:
        cannot_say("a rotor on the axis holds one cassette", "Choose off-axis, or one cassette.")
    facts: dict[str, Any] = {
        "axis": axis,
        "slots": cassettes * each,
        "cassettes": cassettes,
        "cassette_radius_mm": None if radius is None else 1e3 * radius,
        "slot_pitch_mm": None if pitch is None else 1e3 * pitch,
        "plane_distance_mm": None if planes is None else 1e3 * planes,
        "wafer_edge_radius_m": 0.0,
        "wafer_diameter_mm": 0.0,
        "rotor_mass_kg": inputs.number("rotor"),
    }
    return HeadSpec.model_construct(**facts)  # the laws of balance ask for nothing else


def _whole(inputs: Inputs, name: str, most: int) -> int:
    value = inputs.number(name)
    if not (value.is_integer() and 1 <= value <= most):
        cannot_say(
            f"{value:g} is no number of {COUNTED[name]}",
            f"Give a whole number from 1 to {most}.",
            name,
        )
    return int(value)


def _load(inputs: Inputs, head: HeadSpec, dummies: tuple[int, ...] = ()) -> Load:
    each = head.slots_per_cassette
    loaded = inputs.slots("loaded")
    for cassette, slot in loaded:
        if cassette > head.cassettes or slot > each:
            cannot_say(
                f"slot {slot} of cassette {cassette} does not exist, and {len(loaded)} wafers need "
                f"a slot each",
                f"The rotor has {head.cassettes} x {each} slots.",
                "loaded",
            )
    mass = inputs.number("wafer")
    if mass <= 0:
        cannot_say("wafers without mass pull at nothing", "Give the mass of one wafer.", "wafer")
    return Load(
        name="as tapped",
        slots=tuple(each * (cassette - 1) + slot for cassette, slot in loaded),
        dummy_slots=dummies,
        wafer_mass_g=1e3 * mass,
        seat_eccentricity_mm=1e3 * inputs.number("seat"),
    )


def _compute(inputs: Inputs) -> Answer:
    head = _rotor(inputs)
    load = _load(inputs, head)
    found = balance_of(load, head, inputs.number("speed"))
    spread = _spread(inputs, load, head)
    needed = dummies_needed(load, head)
    results: list[Value | Words] = [_start("start", "Start with this load", found, spread)]
    if needed:
        filled = balance_of(_load(inputs, head, needed), head, inputs.number("speed"))
        said = write_slots(tuple(_slot_of(slot, head) for slot in needed))
        results += [
            Words("dummies", "Dummies of a wafer's mass needed in", said, leads=True),
            _start("with_dummies", "Start with these dummies", filled, spread),
        ]
    results += _best(inputs, load, head)
    results += _numbers(found, spread, load)
    return Answer(tuple(results), tuple(_warnings(inputs, head, load, found)))


def _best(inputs: Inputs, load: Load, head: HeadSpec) -> Iterator[Words]:
    """Give the slots in which so many wafers pull least, where pitch and planes are known."""
    if head.slot_pitch_mm is None or head.plane_distance_mm is None or not load.slots:
        return
    speed = inputs.number("speed")
    placed = place_load(load, head, speed * 30 / math.pi)
    there = balance_of(placed.load, head, speed)
    said = write_slots(tuple(sorted(_slot_of(slot, head) for slot in placed.load.slots)))
    dummies = write_slots(tuple(sorted(_slot_of(s, head) for s in placed.load.dummy_slots)))
    yield Words(
        "best",
        f"Best slots for {load.wafer_count} wafers of one mass",
        f"{said}; dummies in {dummies}" if dummies else said,
        note=f"{placed.placement.standing}: {_said(there)}",
    )


def _start(name: str, label: str, found: LoadBalance, spread: float) -> Words:
    worst, limit = found.worst / GRAM_MM, found.permitted / GRAM_MM
    rule = GUARDED if spread else SIMPLE
    decision = decide(worst, spread / GRAM_MM, None, limit, rule=rule)
    word = "allowed by its balance" if decision.verdict is Verdict.PASS else "refused"
    return Words(
        name,
        label,
        f"{word}: {_said(found)}",
        decision.verdict,
        f"{decision.rule}" if spread else "the prediction alone, without a scatter of masses",
        leads=True,
    )


def _said(found: LoadBalance) -> str:
    worst, limit = found.worst / GRAM_MM, found.permitted / GRAM_MM
    if found.share < NOTHING:
        return f"nothing of {limit:.4g} g·mm"
    return f"{worst:.4g} of {limit:.4g} g·mm, {found.share:.3g} times the limit"


def _numbers(found: LoadBalance, spread: float, load: Load) -> Iterator[Value | Words]:
    yield Value("count", "Wafers", float(load.wafer_count), "1")
    yield Value(
        "static", "Static unbalance", abs(found.static), "g.mm", uncertainty=spread, leads=True
    )
    yield Value("limit", "Permissible at that speed, grade G 6.3", found.permitted, "g.mm")
    yield Value("force", "Centrifugal force of it", found.force, "N")
    if found.couple is not None:
        yield Value("couple", "Couple about the middle of the slots", abs(found.couple), "g.mm2")
    for place, plane in enumerate(found.planes or (), start=1):
        yield Value(f"plane_{place}", f"Unbalance of plane {place}", abs(plane), "g.mm")


def _spread(inputs: Inputs, load: Load, head: HeadSpec) -> float:
    """Give the standard deviation of the unbalance that unequal masses make [kg m]."""
    scatter = inputs.maybe("scatter")
    if scatter is None:
        return 0.0
    reach = 1e-3 * head.cassette_centre_mm + inputs.number("seat")
    return spread_mass_unbalance(load.wafer_count, reach, scatter)


def _warnings(inputs: Inputs, head: HeadSpec, load: Load, found: LoadBalance) -> Iterator[str]:
    if head.axis is RotorAxis.OFF_AXIS and inputs.maybe("scatter") is None:
        yield (
            "Equal numbers do not balance cassettes off the axis by themselves: wafers of one "
            "thickness class differ by a gram. Give the scatter of their masses."
        )
    if found.couple is None:
        yield "Without the pitch of the slots the couple is not known."
    if head.axis is RotorAxis.ON_AXIS and load.wafer_count > 1:
        yield (
            "On the axis all wafers sit off it to the same side, so a full load can be worse than "
            "a partial one."
        )


def _slot_of(number: int, head: HeadSpec) -> SlotOf:
    each = head.slots_per_cassette
    return 1 + (number - 1) // each, 1 + (number - 1) % each


def _draw(inputs: Inputs) -> str:
    head = _rotor(inputs)
    load = _load(inputs, head)
    found = balance_of(load, head, inputs.number("speed"))
    dummies = {_slot_of(slot, head) for slot in dummies_needed(load, head)}
    loaded = inputs.slots("loaded")
    cassettes = tuple(
        CassettePicture(
            2 * math.pi * place / head.cassettes,
            frozenset(slot for cassette, slot in loaded if cassette == place + 1),
            frozenset(slot for cassette, slot in dummies if cassette == place + 1),
        )
        for place in range(head.cassettes)
    )
    pull = (abs(found.static) / found.permitted, cmath.phase(found.static))
    return slot_picture("Load", cassettes, head.slots_per_cassette, pull=pull, words=_said(found))


def _board(typed: Mapping[str, str]) -> tuple[int, int]:
    def read(name: str, most: int, otherwise: int) -> int:
        text = typed.get(name, "")
        return min(max(int(text), 1), most) if text.isascii() and text.isdecimal() else otherwise

    return read("cassettes", MOST_CASSETTES, 1), read("each", MOST_SLOTS, 25)


def _from_head(head: HeadSpec) -> Mapping[str, str]:
    known = {
        "axis": head.axis.value,
        "cassettes": f"{head.cassettes}",
        "each": f"{head.slots_per_cassette}",
        "rotor": f"{head.rotor_mass_kg:g} kg",
        "speed": f"{head.top_speed_rpm:g} rpm",
    }
    if head.axis is RotorAxis.OFF_AXIS:
        known["radius"] = f"{head.cassette_centre_mm:g} mm"
    if head.slot_pitch_mm is not None:
        known["pitch"] = f"{head.slot_pitch_mm:g} mm"
    if head.plane_distance_mm is not None:
        known["planes"] = f"{head.plane_distance_mm:g} mm"
    return known


LOAD = Calculator(
    name="load",
    title="Load of a rotor",
    task="Tap the slots that hold wafers: whether the rotor may start, and which dummies it needs.",
    fields=(
        choice("axis", "How the cassettes sit", tuple(RotorAxis)),
        number("cassettes", "Cassettes", "1", "Evenly around the axis; one on the axis."),
        number("each", "Slots of each cassette", "25"),
        slots("loaded", "Loaded slots", "1: 1-13"),
        quantity("wafer", "Mass of one wafer", Dimension.MASS, "53.05 g", uncertain=True),
        quantity(
            "seat",
            "How far wafers sit off their places",
            Dimension.LENGTH,
            "0.5 mm",
            "Play of the pocket, all to one side.",
            uncertain=True,
        ),
        quantity("rotor", "Mass of the rotor with its cassettes", Dimension.MASS, "16.2 kg"),
        quantity("speed", "Highest speed of the run", Dimension.ROTATION, "1750 rpm"),
        quantity(
            "radius",
            "Distance of the cassettes' centres from the axis",
            Dimension.LENGTH,
            "150 mm",
            "Of an off-axis rotor.",
            required=False,
        ),
        quantity(
            "scatter",
            "Standard deviation of the wafers' masses",
            Dimension.MASS,
            "0.1 g",
            "From weighing; decides on off-axis rotors.",
            required=False,
        ),
        quantity("pitch", "Pitch of the slots", Dimension.LENGTH, "6.35 mm", required=False),
        quantity(
            "planes",
            "Distance of the correction planes",
            Dimension.LENGTH,
            "200 mm",
            required=False,
        ),
    ),
    compute=_compute,
    draw=_draw,
    board=_board,
    from_head=_from_head,
    formula=("U = Σ m c", "C = Σ m c z", "U permissible = G m / ω, G 6.3", "σ(U) = √n R σ(m)"),
    model_error="The rotor's own residual unbalance is not in it. Wafers are full circles of one "
    "mass; flats, broken wafers and play beyond what is typed add to it.",
    sources=(
        "ISO 21940-2:2017, resultant and couple unbalance",
        "ISO 21940-11:2016, grade G 6.3",
    ),
    cautions=(
        "A refused load must not be started: an off-axis rotor with one wafer missing can tear "
        "itself loose.",
        "The prediction is no protection: the vibration switch of the head is, and stays on.",
    ),
)
