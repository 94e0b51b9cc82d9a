"""Loads of a plan, and what their unbalance means for a run."""

from dataclasses import dataclass

import numpy as np

from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec, RotorAxis
from spinproof.model.load import Load, spread_slots
from spinproof.model.recipe import Recipe
from spinproof.physics.balance_quality import LOADED_GRADE_MM_S, plane_limits
from spinproof.physics.load_balance import balance_of, dummies_needed, facing_cassettes, seats_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, permissible_unbalance
from spinproof.plan.slots import Placement, Places, best_slots


def load_for(count: int, head: HeadSpec, like: Load) -> Load:
    """Give a load of so many wafers for a head, with the wafers of another load.

    Parameters
    ----------
    count : int
        Number of wafers. [1]
    head : HeadSpec
        The head. On the axis the wafers are evenly spread; around it cassettes that face one
        another carry the same slots, and dummies fill up what cannot be shared.
    like : Load
        Says what a wafer weighs and how far it sits off its place.

    Returns
    -------
    Load
        The load.

    Raises
    ------
    PlanError
        If the head has no room for the wafers with their dummies.
    """
    if count == 0:
        return Load(name=f"none of {head.slots}")
    slots = _mirrored(count, head)
    wafers, dummies = slots[:count], slots[count:]
    words = f"{count} of {head.slots}, evenly spread"
    return Load(
        name=f"{words}, dummy in {', '.join(map(str, dummies))}" if dummies else words,
        slots=tuple(sorted(wafers)),
        dummy_slots=tuple(sorted(dummies)),
        wafer_mass_g=like.wafer_mass_g,
        seat_eccentricity_mm=like.seat_eccentricity_mm,
    )


def _mirrored(count: int, head: HeadSpec) -> tuple[int, ...]:
    """Give slots that balance one another, those that dummies get last."""
    groups = facing_cassettes(head)
    if not groups:
        if not 0 <= count <= head.slots:
            _refuse(count, head)
        return spread_slots(count, head.slots)
    size, each = len(groups[0]), head.slots_per_cassette
    levels = -(-count // size)
    if not 0 <= count <= levels * size <= size * len(groups) * each:
        _refuse(count, head)
    whole, more = divmod(levels, len(groups))
    found: list[int] = []
    for number, group in enumerate(groups):
        own = spread_slots(whole + (number < more), each)
        found = [*(each * cassette + slot for slot in own for cassette in group), *found]
    return tuple(found)


def _refuse(count: int, head: HeadSpec) -> None:
    raise PlanError(
        f"{count} wafers, with the dummies that balance them, do not fit {head.slots} slots",
        where=f"head {head.designation}",
        mend="Load fewer wafers, or none.",
    )


@dataclass(frozen=True)
class Placed:
    """A load in its best slots."""

    load: Load
    placement: Placement
    """How good it is, and whether that is proven; dummies come last."""
    dummies: int
    """Dummies without which the cassettes cannot face equal numbers."""


def place_load(load: Load, head: HeadSpec, speed_rpm: float, *, seed: int = 0) -> Placed:
    """Give the wafers of a load the slots in which they put the rotor least out of balance.

    Parameters
    ----------
    load : Load
        The wafers, best weighed one by one; its slots are not kept.
    head : HeadSpec
        The head, with slot pitch and distance of planes.
    speed_rpm : float
        Highest speed of the run. [rpm]
    seed : int
        Seed of the search. [1]

    Returns
    -------
    Placed
        The load, with the dummies it needs: cassettes around the axis with an odd wafer stay out
        of balance by that wafer, whatever the slots.

    Raises
    ------
    PlanError
        If the wafers and dummies do not fit, the head does not give pitch and planes, or the
        speed is not positive.
    """
    if head.slot_pitch_mm is None or head.plane_distance_mm is None or not speed_rpm > 0:
        raise PlanError(
            "the couple of a load cannot be told without slot pitch, planes and speed",
            where=f"head {head.designation}",
            mend="Give slot_pitch_mm and plane_distance_mm in the head's file, and a speed.",
        )
    simple = _mirrored(load.wafer_count, head)
    dummies = len(simple) - load.wafer_count
    masses = 1e-3 * np.array([*load.masses_g[: load.wafer_count], *[load.wafer_mass_g] * dummies])
    speed = speed_rpm * RAD_PER_S_PER_RPM
    static = float(permissible_unbalance(LOADED_GRADE_MM_S, head.rotor_mass_kg, speed))
    _, couple = plane_limits(static, 1e-3 * head.plane_distance_mm)
    seats, heights = seats_of(head, load.seat_eccentricity_mm)
    places = Places(seats, heights, static, float(couple))
    found = best_slots(masses, places, seed=seed, simple=simple)
    count = load.wafer_count
    update = {
        "slots": found.slots[:count],
        "dummy_slots": found.slots[count:],
        "name": f"{count} of {head.slots}, {found.standing} slots",
    }
    return Placed(load.model_copy(update=update), found, dummies)


def load_problem(load: Load, head: HeadSpec, speed_rpm: float) -> str | None:
    """Say why a load must not start on an off-axis head, and which dummies would mend it.

    Parameters
    ----------
    load : Load
        The load.
    head : HeadSpec
        The head.
    speed_rpm : float
        Highest speed of the run. [rpm]

    Returns
    -------
    str or None
        The reason; None when the load may start, and always on the axis, where wafers pull only
        as far as they sit off it: there `unbalance_note` tells the operator.

    Raises
    ------
    PlanError
        If a slot lies outside the head.

    References
    ----------
    .. [1] ISO 21940-11:2016, grade G 6.3.
    """
    _check_slots(load, head)
    if head.axis is not RotorAxis.OFF_AXIS or not load.filled_slots or speed_rpm <= 0:
        return None
    found = balance_of(load, head, speed_rpm * RAD_PER_S_PER_RPM)
    if found.share <= 1:
        return None
    dummies = dummies_needed(load, head)
    mend = (
        f"a dummy in slot {', '.join(map(str, dummies))} balances it"
        if dummies
        else "load the same slots in cassettes that face one another"
    )
    twice = "" if found.worst <= abs(found.static) else " (twice its worse plane)"
    return (
        f"{load.name} puts the rotor out of balance by {1e6 * found.worst:.0f} g mm{twice}, "
        f"{found.share:.2f} times what is permissible at {speed_rpm:g} rpm; {mend}"
    )


def _check_slots(load: Load, head: HeadSpec) -> None:
    held = head.slots_per_cassette * head.cassettes
    if max(load.filled_slots, default=0) > held:
        raise PlanError(
            f"the load needs more than the head's {held} slots",
            where=f"head {head.designation}",
            mend="Load slots that the head has.",
        )


def unbalance_note(recipe: Recipe, load: Load, head: HeadSpec) -> str | None:
    """Say when the unbalance of a load exceeds what the grade permits at the top speed.

    Parameters
    ----------
    recipe : Recipe
        Gives the top speed.
    load : Load
        Gives mass and unbalance of the wafers.
    head : HeadSpec
        Gives the mass of the rotor with its cassettes.

    Returns
    -------
    str or None
        The note for the operator; None when the load is within the grade.

    Raises
    ------
    PlanError
        If a slot lies outside the head.

    References
    ----------
    .. [1] ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour.
    """
    _check_slots(load, head)
    if recipe.top_speed_rpm <= 0:
        return None
    found = balance_of(load, head, recipe.top_speed_rpm * RAD_PER_S_PER_RPM)
    if found.share <= 1:
        return None
    if head.axis is RotorAxis.OFF_AXIS:
        return load_problem(load, head, recipe.top_speed_rpm)
    return (
        f"{load.wafer_count} wafers that sit {load.seat_eccentricity_mm:g} mm off the axis give "
        f"{1e6 * found.worst:.1f} g mm of unbalance; G 6.3 permits {1e6 * found.permitted:.1f} "
        f"g mm for {head.rotor_mass_kg:.2f} kg at {recipe.top_speed_rpm:g} rpm. Wafers on the same "
        f"side add up: a full load can be worse than a partial one."
    )
