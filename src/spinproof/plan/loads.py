"""Loads of a plan, and what their unbalance means for a run."""

from spinproof.model.head import HeadSpec
from spinproof.model.load import Load, spread_slots
from spinproof.model.recipe import Recipe
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, permissible_unbalance

GRADE_MM_S = 6.3
"""Balance quality grade of a spin dryer's rotor with its load. Common practice. [mm/s]"""


def lay_out(count: int, slots: int, like: Load) -> Load:
    """Give a load of so many wafers, evenly spread, with the wafers of another load.

    Parameters
    ----------
    count : int
        Number of wafers. [1]
    slots : int
        Slots of the head. [1]
    like : Load
        Says what a wafer weighs and how far it sits off the axis.

    Returns
    -------
    Load
        The load.
    """
    if count == 0:
        return Load(name=f"none of {slots}")
    return Load(
        name=f"{count} of {slots}, evenly spread",
        slots=spread_slots(count, slots),
        wafer_mass_g=like.wafer_mass_g,
        seat_eccentricity_mm=like.seat_eccentricity_mm,
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
        Gives the mass of the rotor.

    Returns
    -------
    str or None
        The note for the operator; None when the load is within the grade.

    References
    ----------
    .. [1] ISO 21940-11:2016, balance quality grades of rotors with rigid behaviour.
    """
    mass = head.rotor_mass_kg + load.wafer_count * load.wafer_mass_g / 1000
    if recipe.top_speed_rpm <= 0:
        return None
    speed = recipe.top_speed_rpm * RAD_PER_S_PER_RPM
    permitted = 1e6 * float(permissible_unbalance(GRADE_MM_S, mass, speed))
    predicted = load.static_unbalance_g_mm
    if predicted <= permitted:
        return None
    return (
        f"{load.wafer_count} wafers that sit {load.seat_eccentricity_mm:g} mm off the axis give "
        f"{predicted:.1f} g mm of unbalance; G {GRADE_MM_S:g} permits {permitted:.1f} g mm for "
        f"{mass:.2f} kg at {recipe.top_speed_rpm:g} rpm. Wafers on the same side add up: a full "
        f"load can be worse than a partial one."
    )
