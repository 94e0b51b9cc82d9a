"""Configurations and campaigns."""

import pytest
from tests.ledger.cases import (
    AS_BUILT,
    AT,
    CORRECTED,
    DECLINED,
    HEAD,
    PLAN,
    attempt,
    finish,
    later,
    open_burn_in,
    start,
    take_in,
)

from spinproof.files.canonical import digest_of
from spinproof.ledger.entries import Closing
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.run import Outcome, Purpose


@pytest.fixture
def burning(ledger: Ledger) -> Ledger:
    open_burn_in(ledger)
    return ledger


def test_a_configuration_is_named_by_the_hash_of_its_content(burning: Ledger):
    with burning.reading() as records:
        (entry,) = records.configurations(HEAD)

    assert entry.fingerprint == digest_of(AS_BUILT)
    assert (entry.what, entry.since) == ("as built", "2031-05-06T07:08:09.123Z")


def test_a_changed_configuration_closes_the_campaign_and_voids_its_count(burning: Ledger):
    with burning.transaction("TT-1", later(10)) as records:
        attempt(records, Outcome.COUNTED)
        attempt(records, Outcome.COUNTED)
        attempt(records, Outcome.RELEVANT_FAILURE)
        records.set_configuration(HEAD, CORRECTED, "tach gap set, lock-nut torqued")

    with burning.reading() as records:
        (campaign,) = records.campaigns(HEAD)
        attempts = records.attempts(HEAD)
        tally = str(records.tally(HEAD))
        assert records.campaign(HEAD) is None
        assert records.next_planned(HEAD) is None
    assert campaign.closing is Closing.CONFIGURATION
    assert campaign.closed_because == "tach gap set, lock-nut torqued"
    assert [a.void for a in attempts] == [True, True, False]
    assert tally == "attempts 3 = counted 0 + void 2 + relevant failure 1 + invalid 0"


def test_the_same_configuration_is_no_change(burning: Ledger):
    with (
        pytest.raises(RecordError, match="exactly this configuration"),
        burning.transaction("TT-1", AT) as records,
    ):
        records.set_configuration(HEAD, AS_BUILT, "nothing")

    with burning.reading() as records:
        assert records.campaign(HEAD).number == 1


def test_a_configuration_may_return_later(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        records.set_configuration(HEAD, CORRECTED, "lock-nut torqued")
        records.set_configuration(HEAD, AS_BUILT, "lock-nut taken off again")

        assert [c.what for c in records.configurations(HEAD)][1:] == [
            "lock-nut torqued",
            "lock-nut taken off again",
        ]


def test_a_configuration_is_not_changed_under_a_run(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = start(records, 1)
        with pytest.raises(GateClosedError, match=f"{run.name} has not ended"):
            records.set_configuration(HEAD, CORRECTED, "in a hurry")


def test_a_campaign_needs_a_configuration_a_plan_of_the_head_and_no_other_campaign(ledger: Ledger):
    take_in(ledger)
    with ledger.transaction("TT-1", AT) as records:
        with pytest.raises(GateClosedError, match="no configuration"):
            records.open_campaign(HEAD, PLAN)
        records.set_configuration(HEAD, AS_BUILT, "as built")
        with pytest.raises(RecordError, match=f"for head {DECLINED}"):
            records.open_campaign(HEAD, PLAN.model_copy(update={"head": DECLINED}))
        records.open_campaign(HEAD, PLAN)
        with pytest.raises(GateClosedError, match="campaign 1 is open"):
            records.open_campaign(HEAD, PLAN)


def test_nothing_is_configured_or_opened_on_a_head_out_of_scope(ledger: Ledger):
    take_in(ledger)
    with ledger.transaction("TT-1", AT) as records:
        with pytest.raises(GateClosedError, match="out of scope"):
            records.set_configuration(DECLINED, AS_BUILT, "as built")
        with pytest.raises(GateClosedError, match="out of scope"):
            records.open_campaign(DECLINED, PLAN)
        with pytest.raises(RecordError, match="shared module"):
            records.open_campaign("QM-207-S", PLAN)


def test_a_campaign_is_complete_when_every_planned_run_has_counted(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        for _ in PLAN.runs[1:]:
            attempt(records, Outcome.COUNTED)
        with pytest.raises(GateClosedError, match="3 of 4 planned runs"):
            records.close_campaign(HEAD, Closing.COMPLETE, "all done")
        attempt(records, Outcome.COUNTED)
        assert records.next_planned(HEAD) is None
        closed = records.close_campaign(HEAD, Closing.COMPLETE, "all done")
        records.set_configuration(HEAD, CORRECTED, "lock-nut torqued after the campaign")
        tally = records.tally(HEAD)

    assert closed.closing is Closing.COMPLETE
    assert (tally.counted, tally.void) == (4, 0)


def test_a_campaign_that_ends_early_voids_its_count(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        attempt(records, Outcome.COUNTED)
        records.close_campaign(HEAD, Closing.ENDED_EARLY, "order changed")
        second = records.open_campaign(HEAD, PLAN)
        attempt(records, Outcome.COUNTED)
        attempts = records.attempts(HEAD)
        tally = records.tally(HEAD)
        with pytest.raises(RecordError, match="reason is empty"):
            records.close_campaign(HEAD, Closing.ENDED_EARLY, "")

    assert second.number == 2
    assert [(a.campaign, a.void) for a in attempts] == [(1, True), (2, False)]
    assert (tally.attempts, tally.counted, tally.void) == (2, 1, 1)


def test_there_must_be_a_campaign_to_close_and_no_run_in_it(burning: Ledger):
    with burning.transaction("TT-1", AT) as records:
        run = start(records, 1)
        with pytest.raises(GateClosedError, match="has not ended"):
            records.close_campaign(HEAD, Closing.ENDED_EARLY, "order changed")
        finish(records, run)
        records.close_campaign(HEAD, Closing.ENDED_EARLY, "order changed")
        with pytest.raises(GateClosedError, match="no campaign is open"):
            records.close_campaign(HEAD, Closing.ENDED_EARLY, "again")


def test_the_witnessed_run_waits_for_a_complete_campaign(burning: Ledger):
    with burning.transaction("PR-1", AT) as records:
        attempt(records, Outcome.COUNTED)
        with pytest.raises(GateClosedError, match="1 of 4 planned runs"):
            start(records, purpose=Purpose.WITNESS)
        for _ in PLAN.runs[1:]:
            attempt(records, Outcome.COUNTED)
        witness = attempt(records, Outcome.COUNTED, purpose=Purpose.WITNESS)
        attempts, tally = records.attempts(HEAD), records.tally(HEAD)

    assert (witness.number, witness.campaign, witness.planned) == (5, 1, None)
    assert [a.purpose for a in attempts][-1] is Purpose.WITNESS
    assert tally.attempts == 4


def test_a_plan_is_kept_once_and_found_by_its_head(burning: Ledger):
    other = PLAN.model_copy(update={"name": "another"})
    with burning.transaction("TT-1", later(10)) as records:
        kept = records.keep_plan(other)
    with burning.transaction("TT-1", later(20)) as records:
        assert records.keep_plan(other) == kept
    with burning.reading() as records:
        plans = records.plans(HEAD)

    assert [entry.kept_at[:19] for entry in plans] == ["2031-05-06T07:08:09", "2031-05-06T07:08:19"]
    assert [entry.plan for entry in plans] == [PLAN, other]
    assert kept == digest_of(other.to_document())


def test_no_plan_is_kept_for_a_head_that_is_not_in_scope(burning: Ledger):
    with (
        pytest.raises(GateClosedError),
        burning.transaction("TT-1", later(10)) as records,
    ):
        records.keep_plan(PLAN.model_copy(update={"head": DECLINED}))
