"""The rules alone, on entries that no ledger needs to hold."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.ledger.cases import PLAN

from spinproof.ledger import rules
from spinproof.ledger.entries import (
    CampaignEntry,
    ClassificationEntry,
    Closing,
    JudgementEntry,
    RunEntry,
    RunState,
    UnitEntry,
    UnitKind,
)
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import Attempt
from spinproof.model.run import Ending, Outcome, Purpose

LOWER_HEAD = UnitEntry(
    "QM-207-L", "QA-1041", "QM-207", UnitKind.HEAD, "lower", "L", in_scope=True, words="200 mm"
)
CAMPAIGN = CampaignEntry(1, "QM-207-L", 1, "plan", "as built", "then", None, None, None)
RUN = RunEntry(
    name="QA-1041-L-001",
    job="QA-1041",
    head="QM-207-L",
    number=1,
    purpose=Purpose.BURN_IN,
    campaign=1,
    planned=1,
    recipe_name="CR-1",
    recipe_sha256="recipe",
    load_name="13 of 25",
    load_sha256="load",
    wafer_count=13,
    head_sha256="head",
    configuration="as built",
    started_at="then",
    state=RunState.JUDGED,
    ending=Ending.COMPLETE,
    finished_at="later",
    trace_sha256="trace",
    outcome=Outcome.COUNTED,
    void=False,
)
IN_ORDER = JudgementEntry(RUN.name, "judgement", "limits", "spinproof", Outcome.COUNTED, "later")
FAILED = replace(IN_ORDER, outcome=Outcome.RELEVANT_FAILURE)


def decision(outcome: Outcome, by: str) -> ClassificationEntry:
    return ClassificationEntry(RUN.name, outcome, by, None, ("seen",), (), "later")


def test_instants_are_written_in_utc_with_milliseconds():
    at = datetime(2031, 5, 6, 9, 8, 9, 123999, tzinfo=timezone(timedelta(hours=2)))

    assert rules.utc_text(at) == "2031-05-06T07:08:09.123Z"
    assert rules.utc_text(datetime(2031, 1, 1, tzinfo=UTC)) == "2031-01-01T00:00:00.000Z"


def test_an_instant_without_an_offset_is_refused():
    with pytest.raises(RecordError, match="no offset"):
        rules.utc_text(datetime(2031, 5, 6, 7, 8, 9))  # noqa: DTZ001 - that is the point


@given(first=st.datetimes(timezones=st.timezones()), second=st.datetimes(timezones=st.timezones()))
def test_written_instants_sort_like_the_instants(first: datetime, second: datetime):
    earlier, later = sorted([first.astimezone(UTC), second.astimezone(UTC)])

    assert rules.utc_text(earlier) <= rules.utc_text(later)


def test_plain_text_is_trimmed_and_keeps_its_script():
    assert rules.plain_text("  gap µm 設定\n", "name") == "gap µm 設定"


def test_a_head_in_scope_may_run_and_a_declined_one_may_not():
    rules.require_in_scope(LOWER_HEAD)
    with pytest.raises(GateClosedError, match="out of scope"):
        rules.require_in_scope(replace(LOWER_HEAD, in_scope=False))
    with pytest.raises(RecordError, match="shared module"):
        rules.require_in_scope(replace(LOWER_HEAD, kind=UnitKind.SHARED_MODULE))


def test_an_idle_head_may_run():
    rules.require_idle("QM-207-L", None)
    with pytest.raises(GateClosedError, match=RUN.name):
        rules.require_idle("QM-207-L", RUN)


@pytest.mark.parametrize("outcome", list(Outcome))
def test_only_a_relevant_failure_breaks_a_campaign(outcome: Outcome):
    runs = [RUN, replace(RUN, outcome=outcome)]
    if outcome is Outcome.RELEVANT_FAILURE:
        with pytest.raises(GateClosedError, match="relevant failure"):
            rules.require_unbroken(CAMPAIGN, runs)
    else:
        rules.require_unbroken(CAMPAIGN, runs)


def test_the_next_planned_run_is_the_first_that_has_not_counted():
    invalid = replace(RUN, planned=2, outcome=Outcome.INVALID_OPERATOR)
    trial = replace(RUN, planned=None, purpose=Purpose.TRIAL)
    counted = rules.counted_by_plan([RUN, invalid, trial, replace(RUN, planned=3)])

    assert counted == {1: RUN.name, 3: RUN.name}
    assert rules.next_planned(PLAN, counted) == PLAN.runs[1]
    assert rules.next_planned(PLAN, dict.fromkeys(range(1, 5), RUN.name)) is None


def test_a_run_made_with_another_configuration_than_its_campaign_does_not_count():
    rules.require_countable(RUN, CAMPAIGN, IN_ORDER, {})
    with pytest.raises(GateClosedError, match="another configuration"):
        rules.require_countable(replace(RUN, configuration="changed"), CAMPAIGN, IN_ORDER, {})


def test_a_run_counts_once_for_its_planned_run_and_only_when_found_in_order():
    rules.require_countable(RUN, CAMPAIGN, IN_ORDER, {1: RUN.name})
    with pytest.raises(GateClosedError, match="counts once"):
        rules.require_countable(RUN, CAMPAIGN, IN_ORDER, {1: "QA-1041-L-009"})
    for judged in (None, FAILED):
        with pytest.raises(GateClosedError, match="nobody counts"):
            rules.require_countable(RUN, CAMPAIGN, judged, {})


@pytest.mark.parametrize(
    ("current", "new", "takes_over"),
    [
        (decision(Outcome.COUNTED, "judge"), IN_ORDER, False),
        (decision(Outcome.COUNTED, "judge"), FAILED, True),
        (decision(Outcome.COUNTED, "QI-2"), FAILED, True),
        (decision(Outcome.INVALID_OUTSIDE, "QI-2"), FAILED, False),
        (decision(Outcome.RELEVANT_FAILURE, "judge"), IN_ORDER, True),
        (decision(Outcome.ABORTED, "QI-2"), IN_ORDER, False),
    ],
)
def test_judging_again_takes_over_from_the_judge_and_from_a_count(
    current: ClassificationEntry, new: JudgementEntry, *, takes_over: bool
):
    assert rules.follows_rejudgement(RUN, current, FAILED, new) is takes_over


def test_other_limits_may_fail_a_run_and_never_count_it():
    counted = decision(Outcome.COUNTED, "judge")
    failed = decision(Outcome.RELEVANT_FAILURE, "judge")
    stricter = replace(FAILED, limits_sha256="other")

    assert rules.follows_rejudgement(RUN, counted, IN_ORDER, stricter)
    with pytest.raises(GateClosedError, match="after the reading"):
        rules.follows_rejudgement(RUN, failed, FAILED, replace(IN_ORDER, limits_sha256="other"))


@pytest.mark.parametrize("closing", [None, *Closing])
@pytest.mark.parametrize("outcome", [None, *Outcome])
def test_void_is_what_counted_in_a_campaign_closed_before_it_was_complete(
    outcome: Outcome | None, closing: Closing | None
):
    early = closing in {Closing.CONFIGURATION, Closing.ENDED_EARLY}

    assert rules.is_void(outcome, closing) is (outcome is Outcome.COUNTED and early)


@given(
    st.lists(
        st.tuples(st.sampled_from(Outcome), st.sampled_from(Purpose), st.sampled_from(Closing)),
        max_size=80,
    )
)
def test_the_parts_of_a_tally_add_up_to_the_attempts(made: list[tuple[Outcome, Purpose, Closing]]):
    attempts = [
        Attempt(
            run=f"QA-1041-L-{i:03}",
            number=i,
            campaign=1,
            purpose=purpose,
            started_at="then",
            recipe_name="CR-1",
            wafer_count=13,
            outcome=outcome,
            void=rules.is_void(outcome, closing),
            reasons=(),
            decided_by="judge",
            second_name=None,
            trace_sha256="",
            judgement_sha256="",
            evidence=(),
        )
        for i, (outcome, purpose, closing) in enumerate(made)
    ]
    tally = rules.tally_of(attempts)

    parts = (tally.counted, tally.void, tally.relevant_failures, tally.invalid, tally.aborted)
    assert sum(parts) == tally.attempts
    assert tally.attempts == sum(purpose is Purpose.BURN_IN for _, purpose, _ in made)
    assert min(parts) >= 0
