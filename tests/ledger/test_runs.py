"""Runs: number, start, end, judgement and decision."""

import pytest
from tests.demo_files import CR_1, LIMITS, LOWER, PARTIAL_LOAD, UPPER
from tests.ledger.cases import (
    AT,
    DECLINED,
    HEAD,
    LIMITS_SHA256,
    PLAN,
    add_supply_log,
    attempt,
    finish,
    judged,
    later,
    open_burn_in,
    start,
)

from spinproof.files.canonical import digest_of
from spinproof.ledger.entries import RunState
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.run import Ending, Outcome, Purpose

LOOSER = LIMITS.model_copy(
    update={"revision": 2, "limits": (LIMITS.limits[0].model_copy(update={"upper": 60.0}),)}
)


@pytest.fixture
def burning(ledger: Ledger) -> Ledger:
    open_burn_in(ledger)
    return ledger


def test_a_run_has_its_number_before_its_first_sample(burning: Ledger):
    with burning.transaction("TT-1", later(100)) as records:
        start(records, 1)

    with burning.reading() as records:
        (run,) = records.runs(HEAD, RunState.RUNNING)
        assert records.recipe(run.name) == PLAN.runs[0].recipe
        assert records.load(run.name) == PLAN.runs[0].load
        assert records.head_spec(run.name) == LOWER
        assert run.configuration == records.configurations(HEAD)[-1].fingerprint
        assert records.attempts(HEAD) == ()
    assert (run.name, run.number, run.planned) == ("QA-1041-L-001", 1, 1)
    assert run.started_at == "2031-05-06T07:09:49.123Z"


def test_a_run_that_never_gave_a_sample_has_spent_its_number(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        lost = start(records, 1)
        records.finish_run(lost.name, Ending.STAND_LOST, None)
        records.classify(lost.name, Outcome.ABORTED, reasons=("the stand did not answer",))
        run = attempt(records, Outcome.COUNTED)
        first, second = records.attempts(HEAD)

    assert (lost.number, run.number, run.planned) == (1, 2, 1)
    assert (first.outcome, first.trace_sha256, first.judgement_sha256) == (Outcome.ABORTED, "", "")
    assert (second.outcome, second.decided_by) == (Outcome.COUNTED, "judge")


def test_a_head_runs_one_run_at_a_time(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = start(records, 1)
        with pytest.raises(GateClosedError, match=f"{run.name} has not ended"):
            start(records, purpose=Purpose.TRIAL)


@pytest.mark.parametrize("purpose", list(Purpose))
def test_a_head_out_of_scope_runs_nothing(burning: Ledger, purpose: Purpose):
    with (
        pytest.raises(GateClosedError, match="out of scope"),
        burning.transaction("TT-1", AT) as records,
    ):
        records.start_run(DECLINED, purpose=purpose, recipe=CR_1, load=PARTIAL_LOAD, spec=UPPER)

    with burning.reading() as records:
        assert records.runs() == ()


def test_a_burn_in_run_carries_out_the_plan_or_does_not_start(burning: Ledger):
    other = CR_1.model_copy(update={"name": "CR-2"})
    fewer = PARTIAL_LOAD.model_copy(update={"slots": (1, 25)})
    with burning.transaction("TT-1", AT) as records:
        with pytest.raises(RecordError, match="names no planned run"):
            start(records)
        with pytest.raises(RecordError, match="no run 99"):
            records.start_run(
                HEAD,
                purpose=Purpose.BURN_IN,
                recipe=CR_1,
                load=PARTIAL_LOAD,
                spec=LOWER,
                planned=99,
            )
        for recipe, load, what in ((other, PARTIAL_LOAD, "recipe"), (CR_1, fewer, "load")):
            with pytest.raises(GateClosedError, match=f"the {what} is not that of planned run 1"):
                records.start_run(
                    HEAD,
                    purpose=Purpose.BURN_IN,
                    recipe=recipe,
                    load=load,
                    spec=LOWER,
                    planned=1,
                )
        assert records.runs(HEAD) == ()


def test_a_run_is_made_under_the_spec_of_its_head_and_its_plan(burning: Ledger):
    heavier = LOWER.model_copy(update={"rotor_mass_kg": 17.0})
    with burning.transaction("TT-1", AT) as records:
        for spec, message in ((UPPER, f"spec is that of {DECLINED}"), (heavier, "not the one")):
            with pytest.raises(RecordError, match=message):
                records.start_run(
                    HEAD,
                    purpose=Purpose.BURN_IN,
                    recipe=PLAN.runs[0].recipe,
                    load=PLAN.runs[0].load,
                    spec=spec,
                    planned=1,
                )


def test_a_planned_run_counts_once(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.COUNTED, 2)
        with pytest.raises(GateClosedError, match=f"counted already, as run {run.name}"):
            start(records, 2)
        assert records.next_planned(HEAD).number == 1


def test_trials_are_kept_and_count_for_nothing(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        trial = attempt(records, Outcome.COUNTED, purpose=Purpose.TRIAL)
        with pytest.raises(RecordError, match="carries out no planned run"):
            start(records, 1, purpose=Purpose.TRIAL)
        run = attempt(records, Outcome.COUNTED)
        attempts, tally = records.attempts(HEAD), records.tally(HEAD)

    assert (trial.campaign, trial.outcome, run.number) == (None, Outcome.COUNTED, 2)
    assert [a.run for a in attempts] == [run.name]
    assert tally.attempts == 1


def test_nothing_counts_on_after_a_relevant_failure(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        failed = attempt(records, Outcome.RELEVANT_FAILURE)
        with pytest.raises(GateClosedError, match=f"{failed.name} is a relevant failure"):
            start(records, 1)


def test_nothing_counts_on_past_a_run_that_nobody_judged(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = finish(records, start(records, 1))
        with pytest.raises(GateClosedError, match=f"{run.name} has no outcome"):
            start(records, 1)


def test_a_recording_ends_once_and_its_trace_proves_one_run(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        first = attempt(records, Outcome.COUNTED)
        with pytest.raises(RecordError, match="ended already: complete"):
            finish(records, first)
        second = start(records, 2)
        with pytest.raises(RecordError, match=f"belongs to run {first.name}"):
            records.finish_run(second.name, Ending.COMPLETE, first.trace_sha256)
        assert records.run(second.name).state is RunState.RUNNING


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"run": "QA-1041-L-099"}, "run"),
        ({"trace_sha256": "0" * 64}, "trace"),
        ({"recipe_sha256": "0" * 64}, "recipe"),
        ({"head_sha256": "0" * 64}, "head spec"),
        ({"limits_sha256": "0" * 64}, "limits"),
    ],
)
def test_a_judgement_of_something_else_is_refused(burning: Ledger, changes: dict, what: str):
    with burning.transaction("TT-1", AT) as records:
        run = finish(records, start(records, 1))
        made = judged(run, Outcome.COUNTED).model_copy(update=changes)
        with pytest.raises(RecordError, match=f"another {what} than"):
            records.add_judgement(run.name, made, LIMITS)
        assert records.judgement(run.name) is None
        assert records.run(run.name).state is RunState.FINISHED


def test_a_judgement_is_given_back_as_it_was_made(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.COUNTED)
        made = judged(run, Outcome.COUNTED)

        assert records.judgement(run.name) == made
        assert records.judgements(run.name)[0].sha256 == digest_of(made.to_document())
        assert records.attempts(HEAD)[0].judgement_sha256 == digest_of(made.to_document())
        assert records.limits(LIMITS_SHA256) == LIMITS


def test_the_judge_alone_decides_on_no_outside_cause(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = finish(records, start(records, 1))
        with pytest.raises(RecordError, match="cannot decide on an outside cause"):
            records.add_judgement(run.name, judged(run, Outcome.INVALID_OUTSIDE), LIMITS)


def test_an_outside_cause_needs_evidence_and_a_second_name(burning: Ledger):
    why = ("the supply fell to 1.4 bar",)
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.RELEVANT_FAILURE)
        log = add_supply_log(records)
        for second, evidence, message in (
            ("QI-2", (), "needs evidence"),
            (None, (log,), "second name"),
            ("tt-1 ", (log,), "second name"),
        ):
            with pytest.raises(GateClosedError, match=message):
                records.classify(
                    run.name,
                    Outcome.INVALID_OUTSIDE,
                    reasons=why,
                    evidence=evidence,
                    second=second,
                )
        with pytest.raises(RecordError, match="no such evidence"):
            records.classify(
                run.name,
                Outcome.INVALID_OUTSIDE,
                reasons=why,
                evidence=("0" * 64,),
                second="QI-2",
            )
        records.classify(
            run.name, Outcome.INVALID_OUTSIDE, reasons=why, evidence=(log,), second="QI-2"
        )
        (before, after) = records.classifications(run.name)
        again = start(records, 1)

    assert (before.outcome, before.decided_by) == (Outcome.RELEVANT_FAILURE, "judge")
    assert (after.outcome, after.decided_by, after.second_name) == (
        Outcome.INVALID_OUTSIDE,
        "TT-1",
        "QI-2",
    )
    assert after.evidence == (log,)
    assert again.planned == run.planned


def test_a_failure_is_not_explained_away_as_an_operators_slip(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.RELEVANT_FAILURE)
        with pytest.raises(GateClosedError, match="taking back a failure needs evidence"):
            records.classify(run.name, Outcome.INVALID_OPERATOR, reasons=("slipped",))
        assert records.tally(HEAD).relevant_failures == 1


@pytest.mark.parametrize(
    "found", [Outcome.RELEVANT_FAILURE, Outcome.INVALID_OPERATOR, Outcome.ABORTED]
)
def test_nobody_counts_what_the_judge_did_not_find_in_order(burning: Ledger, found: Outcome):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, found)
        with pytest.raises(GateClosedError):
            records.classify(run.name, Outcome.COUNTED, reasons=("looked fine to me",))
        with pytest.raises(GateClosedError, match="nobody counts"):
            records.classify(
                run.name,
                Outcome.COUNTED,
                reasons=("looked fine to us",),
                evidence=(add_supply_log(records),),
                second="QI-2",
            )
        assert records.tally(HEAD).counted == 0


def test_a_decision_gives_a_reason_and_waits_for_end_and_judgement(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = start(records, 1)
        with pytest.raises(GateClosedError, match="has not ended"):
            records.classify(run.name, Outcome.ABORTED, reasons=("hurry",))
        finish(records, run)
        with pytest.raises(GateClosedError, match="no judgement"):
            records.classify(run.name, Outcome.INVALID_OPERATOR, reasons=("stop pressed",))
        with pytest.raises(GateClosedError, match="no reason"):
            records.classify(run.name, Outcome.ABORTED, reasons=())
        with pytest.raises(RecordError, match="reason is empty"):
            records.classify(run.name, Outcome.ABORTED, reasons=(" ",))


def test_judging_again_stands_beside_the_first_and_is_in_force(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.COUNTED)
        second = judged(run, Outcome.RELEVANT_FAILURE, software="spinproof 0.2.0")
        records.add_judgement(run.name, second, LIMITS)

        assert [j.software for j in records.judgements(run.name)] == [
            "spinproof 0.1.0",
            "spinproof 0.2.0",
        ]
        assert records.judgement(run.name) == second
        assert records.run(run.name).outcome is Outcome.RELEVANT_FAILURE


def test_judging_again_to_the_same_bytes_adds_nothing(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.COUNTED)
        rows = len(records.audit())
        records.add_judgement(run.name, judged(run, Outcome.COUNTED), LIMITS)

        assert len(records.judgements(run.name)) == 1
        assert len(records.audit()) == rows


def test_judging_again_does_not_undo_what_people_decided(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.RELEVANT_FAILURE)
        records.classify(
            run.name,
            Outcome.INVALID_OUTSIDE,
            reasons=("supply",),
            evidence=(add_supply_log(records),),
            second="QI-2",
        )
        again = judged(run, Outcome.RELEVANT_FAILURE, software="spinproof 0.2.0")
        in_force = records.add_judgement(run.name, again, LIMITS)

        assert in_force.outcome is Outcome.INVALID_OUTSIDE
        assert len(records.judgements(run.name)) == 2


def test_limits_raised_after_the_reading_turn_nothing_into_a_counted_run(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = attempt(records, Outcome.RELEVANT_FAILURE)
        with pytest.raises(GateClosedError, match="after the reading"):
            records.add_judgement(run.name, judged(run, Outcome.COUNTED, limits=LOOSER), LOOSER)
        assert records.run(run.name).outcome is Outcome.RELEVANT_FAILURE
        assert len(records.judgements(run.name)) == 1


def test_limits_once_used_are_not_edited_under_the_same_revision(burning: Ledger):
    edited = LOOSER.model_copy(update={"revision": LIMITS.revision})
    with burning.transaction("TT-1", AT) as records:
        attempt(records, Outcome.COUNTED)
        run = finish(records, start(records, 2))
        with pytest.raises(GateClosedError, match="give the new ones revision 2"):
            records.add_judgement(run.name, judged(run, Outcome.COUNTED, limits=edited), edited)
        records.add_judgement(run.name, judged(run, Outcome.COUNTED, limits=LOOSER), LOOSER)


def test_a_run_called_aborted_stays_so_when_it_is_judged_later(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = finish(records, start(records, 1), Ending.INTERRUPTED)
        records.classify(run.name, Outcome.ABORTED, reasons=("power cut",))
        in_force = records.add_judgement(run.name, judged(run, Outcome.COUNTED), LIMITS)

        assert in_force.outcome is Outcome.ABORTED


def test_a_repeated_planned_run_does_not_count_twice_when_the_first_is_found_in_order(
    burning: Ledger,
):
    with burning.transaction("TT-1", AT) as records:
        first = attempt(records, Outcome.ABORTED, 1)
        attempt(records, Outcome.COUNTED, 1)
        again = judged(first, Outcome.COUNTED, software="spinproof 0.2.0")
        with pytest.raises(GateClosedError, match="a planned run counts once"):
            records.add_judgement(first.name, again, LIMITS)
        assert len(records.judgements(first.name)) == 1


def test_limits_and_recipes_are_held_once_for_many_runs(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        attempt(records, Outcome.COUNTED)
        attempt(records, Outcome.COUNTED)
        kept = [e.object for e in records.audit() if e.act == "document.keep"]

    assert kept.count(f"limits {LIMITS.name}") == 1
    assert kept.count(f"head {HEAD}") == 1
