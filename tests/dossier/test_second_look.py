"""What stands beside a claim: restarts, a second opinion, likeness of runs, growth."""

from dataclasses import replace

import pytest
from tests.dossier.handover_example import example

from spinproof.dossier.second_look import RULES, second_look
from spinproof.dossier.statements import make_statements
from spinproof.model.run import Outcome


@pytest.fixture(scope="module")
def handover():
    return example().handover


def told(attempts):
    return dict(second_look(attempts, 0.95))


def failing(attempts, *numbers):
    """Give attempts of one campaign in which these, counted from 1, failed."""
    return [
        replace(
            attempt,
            campaign=1,
            void=False,
            outcome=Outcome.RELEVANT_FAILURE if place in numbers else Outcome.COUNTED,
        )
        for place, attempt in enumerate(attempts, start=1)
    ]


def test_a_count_that_was_begun_twice_says_what_that_costs(handover):
    words = told(handover.attempts)["claim-restarted"]

    # (1 - 0.95 ** (1 / 2)) ** (1 / 54) and the 72 runs of two attempts
    assert "begun 2 times" in words
    assert "0.9342" in words
    assert "72 clean runs would support 95.00 %" in words


def test_a_count_that_was_begun_once_says_nothing_of_restarts(handover):
    assert "claim-restarted" not in told(failing(handover.attempts))


def test_the_second_opinion_names_its_prior(handover):
    words = told(handover.attempts)["claim-second-opinion"]

    assert "beta(0.5, 0.5) of Jeffreys" in words
    assert "96.52 %" in words
    assert "rests on no prior" in words


def test_a_weak_head_that_passes_is_told(handover):
    words = told(handover.attempts)["claim-likeness"]

    # 0.99 ** 54 = 0.581
    assert "fails one run in 100 comes through 54 runs with probability 58 %" in words


def test_failures_take_the_clean_sentences_away_and_bring_growth(handover):
    two, four = (
        told(failing(handover.attempts, 9, 30)),
        told(failing(handover.attempts, 2, 3, 5, 9)),
    )

    assert set(two) == set(four) == {"claim-second-opinion", "claim-growth"}
    assert "2 relevant failures in 79 judged runs" in two["claim-growth"]
    assert "too few failures to tell a trend from chance" in two["claim-growth"]
    assert "Laplace's test" in four["claim-growth"]
    assert "mean time" not in four["claim-growth"]


def test_one_failure_alone_makes_no_growth_record(handover):
    assert "claim-growth" not in told(failing(handover.attempts, 9))


def test_without_a_judged_run_nothing_stands_beside_a_claim(handover):
    aborted = [replace(a, outcome=Outcome.ABORTED) for a in handover.attempts]

    assert second_look(aborted, 0.95) == ()


def test_the_dossier_says_them_and_rests_on_every_judged_run(handover):
    said = [s for s in make_statements(handover) if s.rule in RULES]

    assert [s.rule for s in said] == [*RULES[:3]]
    assert {len(s.evidence) for s in said} == {77}
    assert not [s for s in make_statements(replace(handover, claims=())) if s.rule in RULES]
