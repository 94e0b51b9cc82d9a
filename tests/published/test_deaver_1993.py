"""False acceptance and rejection against D. Deaver, NCSL Workshop and Symposium (1993, 1994).

"How to maintain your confidence" and "Guardbanding with confidence". The rounded values are those
that a public test suite quotes from the papers; the longer ones are recomputed.
"""

from statistics import NormalDist

import pytest

from spinproof.stats.decision_rules import Guarded
from spinproof.stats.risk import risks_at_ratio, worst_false_acceptance

pytestmark = pytest.mark.source("Deaver 1993, 1994", kind="published")


def within(deviations: float) -> float:
    """Give the share of a normal population within so many standard deviations."""
    return 2 * NormalDist().cdf(deviations) - 1


@pytest.mark.parametrize(
    ("limit", "ratio", "expected", "digits"),
    [(2.0, 4.0, 0.008, 1e-4), (2.5, 4.0, 0.0025, 1e-4)],
)
def test_false_acceptance_at_a_ratio(limit, ratio, expected, digits):
    """Limits at so many standard deviations of the items; uncertainty on the same multiple."""
    expanded_ratio = ratio * limit / 2  # the paper's ratio is that of the standard deviations
    risks = risks_at_ratio(expanded_ratio, within(limit))

    assert risks.consumer == pytest.approx(expected, abs=digits)


def test_false_rejection_at_four_to_one():
    assert risks_at_ratio(4.0, within(2.0)).producer == pytest.approx(0.015, abs=5e-4)


def test_a_guard_band_of_0_91_at_two_to_one_restores_the_risk_of_four_to_one():
    """Limits at 2 σ, u = σ/2, accepted within 0.91 of the limits: guard 0.18 σ = 0.36 u."""
    risks = risks_at_ratio(2.0, within(2.0), Guarded(0.36))

    assert risks.consumer == pytest.approx(0.008, abs=5e-4)
    assert risks.producer == pytest.approx(0.066, abs=1e-3)


@pytest.mark.source("normal distribution, recomputed", kind="independent route")
@pytest.mark.parametrize(
    ("share", "ratio", "accept", "reject"),
    [
        (0.95, 1, 0.01801, 0.12957),
        (0.95, 2, 0.01337, 0.04178),
        (0.95, 3, 0.01049, 0.02294),
        (0.95, 4, 0.00858, 0.01554),
        (0.95, 10, 0.00406, 0.00516),
        (0.89, 4, 0.01456, 0.02162),
    ],
)
def test_the_table_of_risks_over_ratios(share, ratio, accept, reject):
    risks = risks_at_ratio(ratio, share)

    assert risks.consumer == pytest.approx(accept, abs=5e-6)
    assert risks.producer == pytest.approx(reject, abs=5e-6)


@pytest.mark.source("M. Dobbert, NCSL International 2008", kind="from memory")
@pytest.mark.parametrize(("ratio", "worst"), [(4.0, 0.02238), (4.6, 0.01965), (5.0, 0.01817)])
def test_at_4_6_to_1_no_normal_population_reaches_2_percent(ratio, worst):
    assert worst_false_acceptance(ratio) == pytest.approx(worst, abs=5e-6)
