"""Decisions of conformity: a reading with its uncertainty beside a limit."""

from dataclasses import dataclass
from math import isfinite
from statistics import NormalDist

import numpy as np

from spinproof.model.errors import OutOfRangeError
from spinproof.model.judgement import Verdict

GUARD_FACTOR = NormalDist().inv_cdf(0.95)
"""Standard uncertainties between limit and acceptance limit: 1.645, for 5 % risk at the limit."""


@dataclass(frozen=True)
class Decision:
    """What a limit says about a reading."""

    verdict: Verdict
    """Pass, fail or undecided."""
    conformance: float
    """Probability that the true value lies inside the limit."""
    rule: str
    """The decision rule in words, as printed beside the verdict."""


def acceptance_interval(
    uncertainty: float, lower: float | None, upper: float | None, *, guarded: bool
) -> tuple[float, float]:
    """Interval of readings that are accepted; empty (low above high) when the guards meet.

    Never raises.

    Parameters
    ----------
    uncertainty : float
        Standard uncertainty u of the reading. [unit of the reading]
    lower : float or None
        Lower limit, or None when there is none. [unit of the reading]
    upper : float or None
        Upper limit, or None when there is none. [unit of the reading]
    guarded : bool
        Whether readings must lie inside the limits by 1.645 u.

    Returns
    -------
    tuple of float
        Lowest and highest accepted reading; infinite where there is no limit. [unit]

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.

    Examples
    --------
    >>> low, high = acceptance_interval(0.25, 17.0, None, guarded=True)
    >>> round(low, 5)
    17.41121
    """
    guard = GUARD_FACTOR * uncertainty if guarded else 0.0
    return (
        -np.inf if lower is None else lower + guard,
        np.inf if upper is None else upper - guard,
    )


def conformance_probability(
    value: float, uncertainty: float, lower: float | None, upper: float | None
) -> float:
    r"""Probability that the true value lies inside the limits.

    .. math:: p_c = \Phi\left(\frac{T_U - y}{u}\right) - \Phi\left(\frac{T_L - y}{u}\right)

    Never raises.

    Parameters
    ----------
    value : float
        The reading y. [unit]
    uncertainty : float
        Standard uncertainty u of the reading; zero makes the probability 0 or 1. [unit]
    lower : float or None
        Lower limit T_L. [unit]
    upper : float or None
        Upper limit T_U. [unit]

    Returns
    -------
    float
        Probability. [1]

    Notes
    -----
    Holds for a Gaussian state of knowledge without other prior knowledge of the value.

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.

    Examples
    --------
    >>> round(conformance_probability(1510.0, 2.5, 1485.0, 1515.0), 5)
    0.97725
    """
    if uncertainty == 0:
        inside = (lower is None or value >= lower) and (upper is None or value <= upper)
        return float(inside)
    true = NormalDist(value, uncertainty)
    below_upper = 1.0 if upper is None else true.cdf(upper)
    below_lower = 0.0 if lower is None else true.cdf(lower)
    return max(below_upper - below_lower, 0.0)


def decide(
    value: float, uncertainty: float, lower: float | None, upper: float | None, *, guarded: bool
) -> Decision:
    """Decide whether a reading conforms to its limits.

    Guarded: accepted only inside the limits by 1.645 u, refused only outside them by 1.645 u, and
    undecided in between. Simple: accepted inside the limits, refused outside.

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
    guarded : bool
        Which of the two rules holds.

    Returns
    -------
    Decision
        Verdict, conformance probability, and the rule in words.

    Raises
    ------
    OutOfRangeError
        If the reading or its uncertainty is not finite, or the uncertainty is negative.

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment.
    .. [2] ILAC-G8:09/2019, Guidelines on decision rules and statements of conformity.

    Examples
    --------
    >>> decide(2.55, 0.15, None, 2.80, guarded=True).verdict.value
    'pass'
    """
    if not (isfinite(value) and isfinite(uncertainty) and uncertainty >= 0):
        raise OutOfRangeError(
            f"a reading of {value:g} with standard uncertainty {uncertainty:g} decides nothing",
            where="decide",
            mend="Give a finite reading, and an uncertainty of zero or more.",
            mask=np.array([True]),
        )
    low, high = acceptance_interval(uncertainty, lower, upper, guarded=guarded)
    guard = GUARD_FACTOR * uncertainty if guarded else 0.0
    refused = (lower is not None and value < lower - guard) or (
        upper is not None and value > upper + guard
    )
    if low <= value <= high:
        verdict = Verdict.PASS
    else:
        verdict = Verdict.FAIL if refused else Verdict.UNDECIDED
    return Decision(
        verdict=verdict,
        conformance=conformance_probability(value, uncertainty, lower, upper),
        rule=_in_words(guarded=guarded),
    )


def _in_words(*, guarded: bool) -> str:
    if guarded:
        return f"guarded by {GUARD_FACTOR:.3f} u: at most 5 % risk of accepting at the limit"
    return "simple: accepted inside the limit, the risk is shared"
