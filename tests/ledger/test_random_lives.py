"""Random lives of a ledger: whatever people do in whatever order, its sums and its chain hold."""

import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from tests.demo_files import LIMITS
from tests.ledger.cases import (
    HEAD,
    PLAN,
    SUPPLY_LOG,
    add_supply_log,
    finish,
    judged,
    later,
    open_burn_in,
    start,
)
from tests.ledger.insider import letter

from spinproof.ledger.entries import Closing, RunState
from spinproof.ledger.heads import Anchor
from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.rules import counted_by_plan
from spinproof.model.errors import SpinproofError
from spinproof.model.run import Ending, Outcome, Purpose

OUTCOMES = st.sampled_from(Outcome)
JUDGED = st.sampled_from(
    [Outcome.COUNTED] * 5 + [Outcome.RELEVANT_FAILURE, Outcome.INVALID_OPERATOR, Outcome.ABORTED]
)
PURPOSES = st.sampled_from([Purpose.BURN_IN] * 5 + [Purpose.WITNESS, Purpose.TRIAL])


class Life(RuleBasedStateMachine):
    """Anything anybody may try on one head; refusals are part of life."""

    template: Path

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        shutil.copy(self.template, self.folder / "ledger.db")
        self.ledger = open_ledger(f"sqlite:///{self.folder / 'ledger.db'}", at=later(0))
        self.clock, self.started = 0, 0
        self.letters: list[Anchor] = []
        open_burn_in(self.ledger)
        with self.ledger.transaction("QI-2", later(0)) as records:
            add_supply_log(records)

    def teardown(self) -> None:
        """Check the trail once more, then close the ledger and remove its file."""
        self.check_the_trail()
        self.ledger.close()
        shutil.rmtree(self.folder)

    def check_the_trail(self) -> None:
        """Walk the trail, against the heads that were taken before."""
        with self.ledger.reading() as records:
            check = records.verify_audit(self.letters)
            self.letters.append(letter(records.tree_head()))
        assert check.findings == ()

    def attempt(self, act) -> None:
        """Try something in a transaction of its own."""
        self.clock += 1
        try:
            with self.ledger.transaction("TT-1", later(self.clock)) as records:
                act(records)
        except SpinproofError:
            return

    @rule(purpose=PURPOSES, outcome=JUDGED, ended=st.sampled_from([True] * 9 + [False]))
    def make_a_run(self, purpose: Purpose, outcome: Outcome, *, ended: bool) -> None:
        """Make the next run, or leave it running when the recorder dies."""

        def act(records) -> None:
            for run in records.runs(HEAD, RunState.RUNNING):
                lost = finish(records, run, Ending.INTERRUPTED)
                records.add_judgement(run.name, judged(lost, Outcome.ABORTED), LIMITS)
            planned = records.next_planned(HEAD)
            number = planned.number if planned and purpose is Purpose.BURN_IN else None
            run = start(records, number, purpose=purpose)
            if ended:
                run = finish(records, run)
                records.add_judgement(run.name, judged(run, outcome), LIMITS)
            self.started += 1

        self.attempt(act)

    @rule(outcome=JUDGED, software=st.sampled_from(["spinproof 0.1.0", "spinproof 0.2.0"]))
    def judge_the_last_run_again(self, outcome: Outcome, software: str) -> None:
        """Judge the last run again, perhaps by newer software."""

        def act(records) -> None:
            run = records.runs(HEAD)[-1]
            again = judged(run, outcome, software=software)
            records.add_judgement(run.name, again, LIMITS)

        self.attempt(lambda records: records.runs(HEAD) and act(records))

    @rule(outcome=OUTCOMES, back=st.integers(0, 5), backed=st.booleans())
    def decide_as_a_person(self, outcome: Outcome, back: int, *, backed: bool) -> None:
        """Classify one of the last runs, with evidence or without."""

        def act(records) -> None:
            for run in records.runs(HEAD)[-1 - back :][:1]:
                records.classify(
                    run.name,
                    outcome,
                    reasons=("as seen",),
                    evidence=(SUPPLY_LOG,) if backed else (),
                    second="QI-2" if backed else None,
                )

        self.attempt(act)

    @rule(gap=st.integers(70, 74))
    def change_the_head_and_begin_again(self, gap: int) -> None:
        """Record a configuration, which closes the campaign, and open the next."""

        def act(records) -> None:
            records.set_configuration(HEAD, {"tach gap": f"0.{gap} mm"}, "gap set")
            records.open_campaign(HEAD, PLAN)

        self.attempt(act)

    @rule(closing=st.sampled_from(Closing))
    def close_the_campaign_and_begin_again(self, closing: Closing) -> None:
        """Close the campaign in some way, and open the next."""

        def act(records) -> None:
            records.close_campaign(HEAD, closing, "so be it")
            records.open_campaign(HEAD, PLAN)

        self.attempt(act)

    @invariant()
    def the_sums_and_the_chain_hold(self) -> None:
        """Check the tally, the numbers and, now and then, the trail."""
        if self.clock % 7 == 0:
            self.check_the_trail()
        with self.ledger.reading() as records:
            tally, attempts = records.tally(HEAD), records.attempts(HEAD)
            runs = records.runs(HEAD)
        parts = (tally.counted, tally.void, tally.relevant_failures, tally.invalid, tally.aborted)
        assert sum(parts) == tally.attempts
        assert min(parts) >= 0
        in_burn_in = [run for run in runs if run.purpose is Purpose.BURN_IN]
        assert tally.attempts == len([run for run in in_burn_in if run.outcome is not None])
        assert [a.run for a in attempts if a.purpose is Purpose.BURN_IN] == [
            run.name for run in in_burn_in if run.outcome is not None
        ]
        assert [run.number for run in runs] == list(range(1, self.started + 1))

    @invariant()
    def no_count_rests_on_a_failed_or_doubled_run(self) -> None:
        """Check what counted."""
        with self.ledger.reading() as records:
            runs = records.runs(HEAD)
            for run in runs:
                if run.outcome is Outcome.COUNTED:
                    assert records.judgements(run.name)[-1].outcome is Outcome.COUNTED
            for campaign in records.campaigns(HEAD):
                own = [run for run in runs if run.campaign == campaign.number]
                counted = [
                    run
                    for run in own
                    if run.outcome is Outcome.COUNTED and run.purpose is Purpose.BURN_IN
                ]
                assert len(counted_by_plan(own)) == len(counted)
                assert {run.configuration for run in own} <= {campaign.configuration}


def test_every_life_adds_up(empty_file: Path):
    Life.template = empty_file
    run_state_machine_as_test(Life, settings=settings(max_examples=15, stateful_step_count=20))
