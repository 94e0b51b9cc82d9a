"""The burn-in over the wire: what counts, what does not, and what may follow what."""

import os
import signal
from pathlib import Path

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD, UPPER
from tests.shop import HEAD, Shop, short_plan

from spinproof.app.burn_in import (
    Station,
    attempts,
    classify_run,
    make_next_run,
    make_witnessed_run,
    open_campaign,
)
from spinproof.app.demo import demo_setup
from spinproof.app.evidence_desk import hold_evidence
from spinproof.app.intake import configure
from spinproof.app.recording import StandAddress
from spinproof.model.errors import GateClosedError, StandError
from spinproof.model.program import Fault, FaultKind
from spinproof.model.run import Ending, Outcome
from spinproof.record.recorder import Pace, Progress
from spinproof.virtualhead.process_host import StandProcess

OUT_OF_ORDER = Fault(kind=FaultKind.DOOR_OUT_OF_ORDER, size=2.0)
DIP = Fault(kind=FaultKind.DI_PRESSURE_DIP, size=1.4)
HASTY = Pace(reconnect_s=(0.0,))
STOP = Fault(kind=FaultKind.OPERATOR_STOP, size=60.0)


def test_planned_runs_count_one_after_the_other(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(2), by="TT-1")

    first, second = make_next_run(station), make_next_run(station)

    assert (first.entry.name, second.entry.name) == ("QA-1041-L-001", "QA-1041-L-002")
    assert first.outcome is second.outcome is Outcome.COUNTED, first.judgement.reasons
    assert second.tally.counted == 2
    assert shop.home.trace(first.judgement.trace_sha256).exists()
    with pytest.raises(GateClosedError, match="no planned run"):
        make_next_run(station)


def test_a_failure_stops_the_campaign_until_the_head_is_changed(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(3), by="TT-1")
    make_next_run(station)

    failed = make_next_run(station, faults=(OUT_OF_ORDER,))
    with pytest.raises(GateClosedError):
        make_next_run(station)
    configure(shop.ledger, demo_setup("tach-corrected.configuration.toml"), by="AS-2")
    open_campaign(shop.ledger, HEAD, short_plan(3), by="TT-1")
    after = make_next_run(station)

    assert failed.outcome is Outcome.RELEVANT_FAILURE
    assert any("order" in reason for reason in failed.judgement.reasons)
    assert (after.tally.attempts, after.tally.counted, after.tally.void) == (3, 1, 1)
    assert after.tally.relevant_failures == 1


def test_a_stop_press_is_invalid_and_the_planned_run_is_made_again(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")

    stopped = make_next_run(station, faults=(STOP,))
    again = make_next_run(station)

    assert stopped.outcome is Outcome.INVALID_OPERATOR
    assert "stop was pressed" in stopped.judgement.reasons[0]
    assert again.outcome is Outcome.COUNTED
    assert again.entry.planned == stopped.entry.planned


def test_an_outside_cause_needs_evidence_and_a_second_name(
    shop: Shop, station: Station, tmp_path: Path
):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    done = make_next_run(station, faults=(DIP,))
    log = tmp_path / "supply.csv"
    log.write_text("minute,pressure\n0,1.4\n")
    held = hold_evidence(shop.home, shop.ledger, "QA-1041", log, "supply log", by="TT-1")
    decision = {"by": "TT-1", "reasons": ("The supply dipped.",)}

    assert done.outcome is Outcome.RELEVANT_FAILURE
    assert done.judgement.outside_cause is not None
    with pytest.raises(GateClosedError, match="evidence"):
        classify_run(
            shop.ledger, done.entry.name, Outcome.INVALID_OUTSIDE, second="QI-2", **decision
        )
    with pytest.raises(GateClosedError, match="second name"):
        classify_run(
            shop.ledger,
            done.entry.name,
            Outcome.INVALID_OUTSIDE,
            evidence=(held.sha256,),
            second="tt-1",
            **decision,
        )
    classify_run(
        shop.ledger,
        done.entry.name,
        Outcome.INVALID_OUTSIDE,
        evidence=(held.sha256,),
        second="QI-2",
        **decision,
    )

    made, tally = attempts(shop.ledger, HEAD)
    assert tally.invalid == 1
    assert made[0].second_name == "QI-2"
    assert (shop.home.evidence / held.sha256).read_bytes() == log.read_bytes()


def test_nobody_counts_what_the_judge_did_not_count(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    done = make_next_run(station, faults=(OUT_OF_ORDER,))

    with pytest.raises(GateClosedError):
        classify_run(
            shop.ledger, done.entry.name, Outcome.COUNTED, by="TT-1", reasons=("It looked fine.",)
        )


def test_a_head_out_of_scope_cannot_be_configured_or_run(shop: Shop):
    setup = demo_setup("as-built.configuration.toml")
    upper = type(setup)(
        setup.configuration.model_copy(update={"head": UPPER.designation}),
        UPPER,
        setup.channels.model_copy(update={"head": UPPER.designation}),
        setup.limits,
    )

    with pytest.raises(GateClosedError, match="out of scope"):
        configure(shop.ledger, upper, by="AS-2")


def test_the_witnessed_run_waits_until_every_planned_run_has_counted(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    with pytest.raises(GateClosedError):
        make_witnessed_run(station, CR_1, PARTIAL_LOAD)

    make_next_run(station)
    done = make_witnessed_run(station, CR_1, PARTIAL_LOAD)

    assert done.outcome is Outcome.COUNTED
    assert done.tally.attempts == 1, "the witnessed run is no attempt of the burn-in"


def test_a_stand_that_disappears_leaves_the_run_aborted_and_its_trace_kept(shop: Shop):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    stand = StandProcess((UPPER, LOWER), speed_up=40.0)
    with stand:
        address = StandAddress(stand.host, stand.port)
        station = Station(
            shop.home, shop.ledger, HEAD, address, "TT-1", simulated_start=True, pace=HASTY
        )

        def pull_the_plug(progress: Progress) -> None:
            if progress.blocks and not progress.interruptions and stand.pid:
                os.kill(stand.pid, signal.SIGKILL)

        done = make_next_run(station, on_progress=pull_the_plug)

    assert done.outcome is Outcome.ABORTED
    assert done.entry.ending is Ending.STAND_LOST
    assert shop.home.trace(done.judgement.trace_sha256).exists()


def test_a_stand_that_never_answers_spends_the_number_and_aborts(shop: Shop):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    with StandProcess((UPPER, LOWER)) as stand:
        gone = StandAddress(stand.host, stand.port)
    station = Station(shop.home, shop.ledger, HEAD, gone, "TT-1", simulated_start=True)

    with pytest.raises(StandError):
        make_next_run(station)

    made, tally = attempts(shop.ledger, HEAD)
    assert (tally.attempts, tally.aborted) == (1, 1)
    assert made[0].reasons == ("not one sample was recorded",)
