"""Guard bands against ISO 14253-1:2017 and ILAC-G8:09/2019.

Both let a guard band protect the receiver: ISO 14253-1 at 95 % conformance probability (factor
1.65, from memory), ILAC-G8 by the expanded uncertainty U = 2 u. The probabilities at the limit come
from the normal distribution of a reference library.
"""

import pytest
from scipy.stats import norm

from spinproof.model.judgement import Verdict
from spinproof.stats.conformance import conformance_probability
from spinproof.stats.conformity import decide
from spinproof.stats.decision_rules import GUARD_FACTOR, GUARDED_BY_U, Guarded

pytestmark = pytest.mark.source("ISO 14253-1:2017; ILAC-G8:09/2019", kind="from memory")


@pytest.mark.parametrize(
    ("factor", "risk"),
    [(0.0, 0.5), (1.645, 0.049985), (1.65, 0.049471), (1.66, 0.048457), (2.0, 0.022750)],
)
def test_the_risk_at_the_acceptance_limit_of_a_guard_band(factor, risk):
    _, high = Guarded(factor).accepted(1.0, None, 10.0)

    assert 1 - conformance_probability(high, 1.0, None, 10.0) == pytest.approx(risk, abs=1e-6)
    assert norm.sf(factor) == pytest.approx(risk, abs=1e-6)


def test_the_default_guard_is_that_of_95_percent_conformance():
    assert pytest.approx(1.65, abs=6e-3) == GUARD_FACTOR
    assert pytest.approx(0.8224, abs=5e-5) == GUARD_FACTOR / 2  # in proportion to U = 2 u


@pytest.mark.parametrize("ratio", [2.0, 3.0, 10.0])
def test_between_two_limits_the_factor_of_one_limit_still_holds(ratio):
    """The far limit hardly counts once the tolerance is twice the expanded uncertainty."""
    uncertainty = 1 / (2 * ratio)
    _, high = Guarded().accepted(uncertainty, -1.0, 1.0)

    assert conformance_probability(high, uncertainty, -1.0, 1.0) == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (9.79, Verdict.PASS),
        (9.81, Verdict.UNDECIDED),
        (10.19, Verdict.UNDECIDED),
        (10.21, Verdict.FAIL),
    ],
)
def test_with_a_guard_by_u_acceptance_and_refusal_need_proof(value, verdict):
    """Limit 10.0, U = 0.2: conformity is proved below 9.8, nonconformity above 10.2."""
    assert decide(value, 0.1, None, 10.0, rule=GUARDED_BY_U).verdict is verdict
