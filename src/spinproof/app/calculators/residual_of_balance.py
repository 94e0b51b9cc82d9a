"""What is left after balancing, beside what a grade permits, by the rule that was agreed."""

from collections.abc import Iterator

from spinproof.app.calculators.calculator import Field, Inputs, Value, Words, choice, quantity
from spinproof.model.judgement import Verdict
from spinproof.model.limit import DecisionRule
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.rotor import permissible_unbalance
from spinproof.stats.conformity import decide
from spinproof.stats.decision_rules import RULES, ByRisk, Rule

GRAM_MM = UNITS["g.mm"].factor

FIELDS: tuple[Field, ...] = (
    quantity(
        "grade",
        "Balance quality grade G",
        Dimension.VELOCITY,
        "2.5 mm/s",
        "With mass and service speed it gives the limit of each plane.",
        required=False,
    ),
    quantity("mass", "Mass of the rotor", Dimension.MASS, "11.8 kg", required=False),
    quantity("service", "Highest speed in service", Dimension.ROTATION, "2200 rpm", required=False),
    quantity(
        "residual_1",
        "Residual in plane 1, as read after the correction",
        Dimension.UNBALANCE,
        "38 g.mm",
        "Empty: it follows from the run after correction, if there is one.",
        required=False,
    ),
    quantity(
        "residual_2",
        "Residual in plane 2, as read after the correction",
        Dimension.UNBALANCE,
        "52 g.mm",
        required=False,
    ),
    quantity(
        "residual_u",
        "Standard uncertainty of a residual",
        Dimension.UNBALANCE,
        "7.5 g.mm",
        "Half of U with k = 2.",
        required=False,
    ),
    choice(
        "rule",
        "Decision rule, as agreed beforehand",
        tuple(DecisionRule),
        "It prints beside the verdict; another rule may say otherwise of the same reading.",
    ),
    quantity(
        "probability",
        "Probability of conformity that by-risk asks for",
        Dimension.RATIO,
        "95 %",
        "As agreed beforehand, above 50 % and below 100 %; empty: 95 %. The other rules ignore it.",
        required=False,
    ),
)
"""Fields that `verdicts` reads."""


def limit_of_plane(inputs: Inputs, planes: int) -> float | None:
    """Give what the grade permits in each plane [kg m]; None when it is not all given."""
    grade, mass, speed = (inputs.maybe(name) for name in ("grade", "mass", "service"))
    if grade is None or mass is None or speed is None:
        return None
    return float(permissible_unbalance(1e3 * grade, mass, speed)) / planes


def verdicts(
    inputs: Inputs, planes: int, measured: tuple[float | None, ...], spread: float | None
) -> Iterator[Value | Words]:
    """Decide on the residual of each plane.

    Parameters
    ----------
    inputs : Inputs
        The fields of `FIELDS`.
    planes : int
        Planes of the rotor.
    measured : tuple of float or None
        Residual of each plane from a run after correction, where there is one. [kg m]
    spread : float or None
        Its standard uncertainty, where the readings tell it. [kg m]

    Yields
    ------
    Value or Words
        Limit, residuals and verdicts.
    """
    limit = limit_of_plane(inputs, planes)
    if limit is not None:
        yield Value("limit", "Permissible residual of each plane", limit, "g.mm")
    for plane in range(1, planes + 1):
        typed = inputs.maybe(f"residual_{plane}")
        left = measured[plane - 1] if typed is None else typed
        if left is None:
            continue
        u = inputs.maybe("residual_u")
        u = spread if u is None and typed is None else u
        yield Value(
            f"left_{plane}", f"Residual in plane {plane}", left, "g.mm", uncertainty=u or 0.0
        )
        if limit is not None:
            yield _verdict(plane, left, u, limit, rule_of(inputs))


def rule_of(inputs: Inputs) -> Rule:
    """Give the decision rule that was agreed, with the probability that it asks for."""
    rule, asked = DecisionRule(inputs.choice("rule")), inputs.maybe("probability")
    return ByRisk(asked) if rule is DecisionRule.BY_RISK and asked is not None else RULES[rule]


def _verdict(plane: int, left: float, spread: float | None, limit: float, rule: Rule) -> Words:
    name, label = f"verdict_{plane}", f"Plane {plane} against its limit"
    if spread is None:
        return Words(
            name,
            label,
            "cannot say: the uncertainty of the residual is missing",
            Verdict.NOT_MEASURED,
            leads=True,
        )
    decision = decide(left / GRAM_MM, spread / GRAM_MM, None, limit / GRAM_MM, rule=rule)
    remark = f"; {decision.remark}" if decision.remark else ""
    return Words(
        name,
        label,
        f"{left / GRAM_MM:.4g} of {limit / GRAM_MM:.4g} g·mm",
        decision.verdict,
        f"{decision.rule}; probability of conformity {decision.conformance:.4f}{remark}",
        leads=True,
    )
