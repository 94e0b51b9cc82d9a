"""Decisions of conformity: a reading with its uncertainty beside a limit.

The one engine for every limit in the program. Its verdict is one of the program's words; how near
the limit the reading lies is told by :class:`Standing`, the margin and the probability.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from spinproof.model.judgement import Verdict
from spinproof.stats.conformance import conformance_probability
from spinproof.stats.decision_rules import GUARDED, SIMPLE, ByRisk, Interval, Rule
from spinproof.stats.risk import ENOUGH, uncertainty_ratio
from spinproof.stats.validity import require


class Standing(StrEnum):
    """Where a reading stands against its limit: five ways."""

    PASS = "pass"  # noqa: S105 - a verdict, no password
    """Inside the limit, clear of the guard band."""
    PASS_IN_GUARD = "pass inside the guard band"  # noqa: S105 - a verdict, no password
    """Inside the limit, by less than the guard."""
    UNDECIDED = "undecided"
    """Inside the limit, but no reading could pass: the guard bands leave nothing between them."""
    FAIL_IN_GUARD = "fail inside the guard band"
    """Outside the limit, by less than the guard."""
    FAIL = "fail"
    """Outside the limit, clear of the guard band."""


@dataclass(frozen=True)
class Decision:
    """What a limit says about a reading."""

    verdict: Verdict
    """Pass, fail or undecided."""
    conformance: float
    """Probability that the true value lies inside the limit. [1]"""
    rule: str
    """The decision rule in words, as printed beside the verdict."""
    standing: Standing
    """The same in five ways, the guard band apart."""
    margin: float
    """Distance to the nearest limit, negative outside. [unit of the reading]"""
    accepted: Interval
    """Lowest and highest reading that pass; empty when the first lies above the second."""
    remark: str | None = None
    """What must be printed as well when the uncertainty is large beside the tolerance."""


def decide(
    value: float,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
    *,
    rule: Rule = GUARDED,
) -> Decision:
    """Decide whether a reading conforms to its limits.

    Parameters
    ----------
    value : float
        The reading. [unit]
    uncertainty : float
        Standard uncertainty u of the reading, zero or more. [unit]
    lower : float or None
        Lower limit. [unit]
    upper : float or None
        Upper limit. [unit]
    rule : Rule
        The decision rule; readings must lie inside the limits by 1.645 u when it is left out.

    Returns
    -------
    Decision
        Verdict, standing, margin, conformance probability, acceptance limits, the rule in words.

    Raises
    ------
    OutOfRangeError
        If the reading or its uncertainty is not finite, the uncertainty is negative, or there is
        no limit.

    Notes
    -----
    Undecided is never turned into a pass: measure again with a smaller uncertainty, or agree on
    another rule beforehand. The remark stands when U = 2 u is more than a quarter of the tolerance.

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.
    .. [2] ILAC-G8:09/2019, Guidelines on decision rules and statements of conformity.
    .. [3] ISO 14253-1:2017, Decision rules for verifying conformity with specifications.

    Examples
    --------
    >>> decide(2.55, 0.15, None, 2.80).verdict.value
    'pass'
    >>> from spinproof.stats.decision_rules import GUARDED_BY_U
    >>> decide(2.55, 0.15, None, 2.80, rule=GUARDED_BY_U).standing.value
    'pass inside the guard band'
    """
    require(
        isfinite(value) and isfinite(uncertainty) and uncertainty >= 0,
        f"a reading of {value:g} with standard uncertainty {uncertainty:g} decides nothing",
        where="decide",
        mend="Give a finite reading, and an uncertainty of zero or more.",
    )
    require(
        lower is not None or upper is not None,
        "a reading without a limit decides nothing",
        where="decide",
        mend="Give a lower limit, an upper limit or both.",
    )
    prior = rule.prior if isinstance(rule, ByRisk) else None
    conformance = conformance_probability(value, uncertainty, lower, upper, prior)
    verdict = _verdict(value, rule, uncertainty, lower, upper)
    return Decision(
        verdict=verdict,
        conformance=conformance,
        rule=rule.words,
        standing=_standing(value, rule, uncertainty, lower, upper),
        margin=_margin(value, lower, upper),
        accepted=rule.accepted(uncertainty, lower, upper),
        remark=_remark(verdict, conformance, uncertainty, lower, upper),
    )


def _verdict(
    value: float, rule: Rule, uncertainty: float, lower: float | None, upper: float | None
) -> Verdict:
    low, high = rule.accepted(uncertainty, lower, upper)
    if low <= value <= high:
        return Verdict.PASS
    low, high = rule.not_refused(uncertainty, lower, upper)
    return Verdict.UNDECIDED if low <= value <= high else Verdict.FAIL


def _standing(
    value: float, rule: Rule, uncertainty: float, lower: float | None, upper: float | None
) -> Standing:
    """Place a reading; a rule without a guard band is seen against the usual one."""
    clear = GUARDED if rule == SIMPLE else rule
    verdict = _verdict(value, clear, uncertainty, lower, upper)
    if verdict is not Verdict.UNDECIDED:
        return Standing(verdict.value)
    if _margin(value, lower, upper) < 0:
        return Standing.FAIL_IN_GUARD
    low, high = clear.accepted(uncertainty, lower, upper)
    return Standing.UNDECIDED if low > high and rule != SIMPLE else Standing.PASS_IN_GUARD


def _margin(value: float, lower: float | None, upper: float | None) -> float:
    above = [] if lower is None else [value - lower]
    below = [] if upper is None else [upper - value]
    return min(above + below)


def _remark(
    verdict: Verdict,
    conformance: float,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
) -> str | None:
    ratio = uncertainty_ratio(uncertainty, lower, upper)
    if ratio is None or ratio >= ENOUGH:
        return None
    text = f"the tolerance is only {ratio:.3g} times the expanded uncertainty"
    if verdict is not Verdict.PASS:
        return f"{text}: measure with a smaller uncertainty"
    risk = 100 * (1 - conformance)
    percent = f"{risk:.2g}" if risk >= 0.1 else "below 0.1"
    return f"{text}: the probability of a false acceptance is {percent} %"
