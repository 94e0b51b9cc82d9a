"""What a load does to a rotor, and whether its balance is accepted."""

import cmath
import math

from spinproof.ledger.head_file import LoadFacts
from spinproof.model.attestation import Balance
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.physics.rotor import permissible_unbalance
from spinproof.stats.conformity import Decision, decide
from spinproof.stats.decision_rules import RULES

GRADE_MM_S = 6.3
"""Balance quality grade that a loaded rotor must meet: centrifuges and general machinery."""


def load_facts(load: Load, head: HeadSpec, recipe: Recipe) -> LoadFacts:
    """Predict the static unbalance of a load from the cassettes that it fills.

    Parameters
    ----------
    load : Load
        Loaded slots; those of the first cassette come first.
    head : HeadSpec
        The head: cassettes spread evenly around the axis, slots shared evenly among them.
    recipe : Recipe
        Its highest speed decides what is permissible.

    Returns
    -------
    LoadFacts
        Unbalance and limit [g mm], and the force at that speed. [N]

    References
    ----------
    .. [1] ISO 21940-11:2016, grade G 6.3.
    """
    each = max(head.slots // head.cassettes, 1)
    radius_mm = 1000 * head.wafer_edge_radius_m - head.wafer_diameter_mm / 2
    total = sum(
        load.wafer_mass_g
        * radius_mm
        * cmath.exp(2j * math.pi * min((slot - 1) // each, head.cassettes - 1) / head.cassettes)
        for slot in load.slots
    )
    speed = recipe.top_speed_rpm * math.pi / 30
    limit = 1e6 * float(permissible_unbalance(GRADE_MM_S, head.rotor_mass_kg, speed))
    return LoadFacts(abs(total), limit, 1e-6 * abs(total) * speed**2)


def balance_decisions(balance: Balance) -> tuple[Decision, ...]:
    """Decide on each plane of a balance by the rule that it states.

    Parameters
    ----------
    balance : Balance
        The record.

    Returns
    -------
    tuple of Decision
        One for each plane, with the rule in words.
    """
    return tuple(
        decide(
            plane.residual_g_mm,
            balance.standard_uncertainty_g_mm,
            None,
            plane.limit_g_mm,
            rule=RULES[balance.rule],
        )
        for plane in balance.planes
    )
