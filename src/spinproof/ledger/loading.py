"""What a load does to a rotor, and whether its balance is accepted."""

from spinproof.ledger.head_file import LoadFacts
from spinproof.model.attestation import Balance
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.physics.load_balance import balance_of, dummies_needed
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.stats.conformity import Decision, decide
from spinproof.stats.decision_rules import RULES


def load_facts(load: Load, head: HeadSpec, recipe: Recipe) -> LoadFacts:
    """Predict what a load does to the balance of a rotor.

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
        Unbalance and limit [g mm], the force at that speed [N], and dummies that help.

    References
    ----------
    .. [1] ISO 21940-11:2016, grade G 6.3.
    """
    found = balance_of(load, head, recipe.top_speed_rpm * RAD_PER_S_PER_RPM)
    return LoadFacts(
        1e6 * found.worst, 1e6 * found.permitted, found.force, dummies_needed(load, head)
    )


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
