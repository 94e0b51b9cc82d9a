"""Records that contradict one another never become a dossier."""

from dataclasses import replace

import pytest
from tests.dossier.handover_example import example

from spinproof.dossier.soundness import refuse_unsound, tally_of
from spinproof.model.errors import PackageError
from spinproof.model.handover import Claim
from spinproof.model.run import Outcome


@pytest.fixture(scope="module")
def handover():
    return example().handover


def with_attempt(handover, index, **changes):
    """Change one attempt in both places that hold it."""
    attempts, runs = list(handover.attempts), list(handover.runs)
    attempts[index] = replace(attempts[index], **changes)
    runs[index] = replace(runs[index], attempt=attempts[index])
    return replace(handover, attempts=tuple(attempts), runs=tuple(runs))


def test_the_demo_job_is_sound(handover):
    refuse_unsound(handover)


def test_a_tally_that_does_not_add_up_is_refused(handover):
    wrong = replace(handover, tally=replace(handover.tally, counted=55, invalid=1))
    with pytest.raises(PackageError, match=r"the tally says .*counted 55.*the attempts say"):
        refuse_unsound(wrong)


def test_a_failure_relabelled_as_counted_is_refused(handover):
    with pytest.raises(PackageError, match="tally"):
        refuse_unsound(with_attempt(handover, 22, outcome=Outcome.COUNTED))


def test_a_claim_that_the_attempts_do_not_support_is_refused(handover):
    better = replace(handover, claims=(Claim(60, 0, 0.95, 0.9513, ""),))
    with pytest.raises(PackageError, match="no attempts fit the claim of 0 failures in 60 runs"):
        refuse_unsound(better)


def test_a_claim_with_a_better_number_than_the_bound_is_refused(handover):
    better = replace(handover, claims=(replace(handover.claims[0], reliability=0.95),))
    with pytest.raises(PackageError, match=r"says 0\.9500, the bound is 0\.9460"):
        refuse_unsound(better)


def test_an_attempt_without_its_record_is_refused(handover):
    with pytest.raises(PackageError, match="not the same"):
        refuse_unsound(replace(handover, runs=handover.runs[:-1]))


def test_a_run_that_is_there_twice_is_refused(handover):
    attempts, runs = handover.attempts + handover.attempts[-1:], handover.runs + handover.runs[-1:]
    twice = replace(handover, attempts=attempts, runs=runs)
    with pytest.raises(PackageError, match="is there twice"):
        refuse_unsound(replace(twice, tally=tally_of(attempts)))


def test_a_judgement_that_was_changed_after_it_was_recorded_is_refused(handover):
    record = handover.runs[0]
    changed = record.judgement.model_copy(update={"reasons": ("all well",)})
    runs = (replace(record, judgement=changed), *handover.runs[1:])
    with pytest.raises(PackageError, match="QA-1041-L-001 is not the one in the records"):
        refuse_unsound(replace(handover, runs=runs))


def test_a_judgement_of_another_trace_is_refused(handover):
    with pytest.raises(PackageError, match="QA-1041-L-001 is about another trace"):
        refuse_unsound(with_attempt(handover, 0, trace_sha256="0" * 64))


@pytest.mark.parametrize(
    "changes", [{"evidence": ()}, {"second_name": None}, {"second_name": "TT-1"}]
)
def test_an_outside_cause_needs_evidence_and_a_second_name(handover, changes):
    with pytest.raises(PackageError, match="lacks evidence or a second name"):
        refuse_unsound(with_attempt(handover, 41, **changes))


def test_evidence_that_is_not_held_is_refused(handover):
    with pytest.raises(PackageError, match="evidence of run QA-1041-L-023"):
        refuse_unsound(replace(handover, evidence=handover.evidence[:1]))


def test_a_failure_cannot_be_void(handover):
    with pytest.raises(PackageError, match="is void, and never counted"):
        refuse_unsound(with_attempt(handover, 22, void=True))


def test_a_simulated_run_cannot_pass_as_a_real_one(handover):
    with pytest.raises(PackageError, match=r"is simulated, the dossier does not say so.*77 more"):
        refuse_unsound(replace(handover, simulated=False))
