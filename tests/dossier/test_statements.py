"""Statements: each follows from records, carries their hashes, and claims nothing beyond."""

from dataclasses import replace

import pytest
from tests.dossier.handover_example import example, small_example

from spinproof.dossier.sentences import not_said
from spinproof.dossier.statements import (
    claim_in_words,
    limits_in_words,
    make_statements,
    scope_document,
)
from spinproof.files.canonical import digest_of
from spinproof.model.handover import Claim, ScopeState
from spinproof.model.run import Outcome


@pytest.fixture(scope="module")
def handover():
    return example().handover


def by_rule(handover, rule):
    return [s for s in make_statements(handover) if s.rule == rule]


def test_the_order_is_the_only_name_of_the_customer(handover):
    (ordered,) = by_rule(handover, "ordered")

    assert ordered.text == (
        "Order PO 40-7716Q covers work on head QM-207-L of machine QM-207"
        " (lower head of two, on-axis, 200 mm, 25 slots), under job QA-1041."
    )


def test_each_declined_line_is_an_exclusion_or_excludes_its_whole_head(handover):
    exclusions, heads = by_rule(handover, "exclusion"), by_rule(handover, "other-head")

    assert len(exclusions) == 5
    assert [s.text for s in heads] == [
        "Head QM-207-U was excluded by the customer; it was not refurbished, not tested"
        " and is shipped as received."
    ]
    assert all(
        s.text.endswith("was excluded by the customer. It was not done.") for s in exclusions
    )
    assert all(s.evidence == (digest_of(scope_document(handover)),) for s in exclusions)


def test_a_head_with_accepted_work_is_not_called_excluded(handover):
    accepted = tuple(
        replace(line, state=ScopeState.ACCEPTED) if line.unit == "QM-207-U" else line
        for line in handover.scope
    )
    (head,) = by_rule(replace(handover, scope=accepted), "other-head")

    assert "excluded" not in head.text
    assert "claims nothing about it" in head.text


def test_what_the_customer_supplies_carries_no_warranty(handover):
    assert [
        s.text.endswith("The shop gives no warranty on it.")
        for s in by_rule(handover, "no-warranty")
    ] == [True, True]


def test_the_tally_adds_up_in_words_and_rests_on_every_judgement(handover):
    (tally,) = by_rule(handover, "tally")

    assert tally.text.startswith(
        "Attempts 79 = counted 54 + void 22 + relevant failure 1 + invalid 2."
    )
    assert len(set(tally.evidence)) == 79


def test_the_claims_are_those_of_the_last_campaign_and_of_all_together(handover):
    last, pooled = by_rule(handover, "claim")

    assert last.text.startswith("In campaign 2: 54 of 54 runs were good, none failed.")
    assert "0.9460" in last.text
    assert pooled.text.startswith("In all campaigns together: 76 of 77 runs were good, 1 failed.")
    assert "0.9399" in pooled.text
    assert (len(last.evidence), len(pooled.evidence)) == (54, 77)


def test_what_the_numbers_do_not_say_follows_the_claims(handover):
    (said,) = by_rule(handover, "not-said")

    assert all(text in said.text for text in not_said())
    assert "a mean time between failures" in said.text
    assert by_rule(replace(handover, claims=()), "not-said") == []


def test_the_customers_recipe_gets_its_own_weaker_bound(handover):
    (own,) = by_rule(handover, "customer-recipe")

    # 0.05 ** (1 / 6) for six counted runs
    assert "6 ran a recipe of the customer" in own.text
    assert "0.6070" in own.text
    assert len(own.evidence) == 6


def test_a_change_of_configuration_tells_what_became_void(handover):
    (change,) = by_rule(handover, "configuration")

    assert "22 runs that had counted before then became void" in change.text
    assert change.text.startswith("On 2031-03-20 the configuration changed from ")


def test_each_run_that_did_not_count_is_told_with_its_evidence(handover):
    texts = [s.text for s in make_statements(handover) if s.rule.startswith("not-counted-")]

    assert texts == [
        "Attempt 23 (run QA-1041-L-023): relevant failure. Campaign 1 was closed after it.",
        "Attempt 42 (run QA-1041-L-042): invalid (outside cause). Classified by TT-1, confirmed by"
        " QI-2, on 1 piece of evidence.",
        "Attempt 64 (run QA-1041-L-064): invalid (operator).",
    ]


def test_no_word_of_a_person_becomes_a_statement(handover):
    said = [s.text for s in make_statements(handover)]
    remarks = [reason for a in handover.attempts for reason in a.reasons]
    remarks += [entry.what for entry in handover.configurations]

    assert not any(remark in text for remark in remarks for text in said)


def test_the_witnessed_run_names_the_limit_that_was_met_with_the_least_probability(handover):
    (statement,) = by_rule(handover, "gate-witness")

    assert "of the passed ones" in statement.text
    assert "inside, conforming with probability 0.999 (rule inside the limit" in statement.text


def test_gates_pass_only_when_the_planned_runs_counted_and_the_witnessed_run_did(handover):
    assert [s.verdict for s in by_rule(handover, "gate-burn-in")] == ["passed"]
    assert [s.verdict for s in by_rule(handover, "gate-witness")] == ["passed"]

    failed = replace(
        handover.witness,
        attempt=replace(handover.witness.attempt, outcome=Outcome.RELEVANT_FAILURE),
    )
    short = replace(handover, tally=replace(handover.tally, counted=53), witness=failed)
    assert [s.verdict for s in by_rule(short, "gate-burn-in")] == ["not passed"]
    assert [s.verdict for s in by_rule(short, "gate-witness")] == ["not passed"]


def test_a_gate_that_was_not_entered_is_not_mentioned():
    assert by_rule(small_example().handover, "gate-witness") == []


def test_a_real_dossier_does_not_speak_of_a_virtual_head(handover):
    assert len(by_rule(handover, "simulated")) == 1
    assert by_rule(replace(handover, simulated=False), "simulated") == []


def test_limits_of_a_run_are_counted_by_their_verdicts(handover):
    assert limits_in_words(handover.runs[22]) == "43 of 46 limits passed, 2 failed, 1 not measured"


def test_a_claim_with_several_failures_says_their_number():
    claim = Claim(runs=93, failures=2, confidence=0.9, reliability=0.9438, text="")

    assert claim_in_words(claim).startswith("91 of 93 runs were good, 2 failed. At 90 % confidence")
