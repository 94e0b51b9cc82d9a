"""Jobs, scope and evidence."""

import pytest
from tests.demo_files import JOB
from tests.ledger.cases import AT, DECLINED, HEAD, SUPPLY_LOG, add_supply_log, later, take_in

from spinproof.ledger.entries import UnitKind
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.job import JobFile


@pytest.fixture
def taken_in(ledger: Ledger) -> Ledger:
    take_in(ledger)
    return ledger


def job_like(**changes: object) -> JobFile:
    return JobFile.from_document(JOB.to_document() | changes)


def test_a_job_is_taken_in_whole(taken_in: Ledger):
    with taken_in.reading() as records:
        job = records.job("QA-1041")
        units = {unit.designation: unit for unit in records.units("QA-1041")}
        scope = records.scope("QA-1041")

    assert (job.order, job.opened_at) == ("PO 40-7716Q", "2031-05-06T07:08:09.123Z")
    assert units[HEAD].in_scope
    assert units[HEAD].letter == "L"
    assert not units[DECLINED].in_scope
    assert units["QM-207-S"].kind is UnitKind.SHARED_MODULE
    assert len(scope) == len(JOB.scope)
    states = [line.state for line in scope]
    assert states.count(ScopeState.DECLINED) == 6
    assert states.count(ScopeState.CUSTOMER_SUPPLIED) == 2


def test_a_job_is_taken_in_once(taken_in: Ledger):
    with (
        pytest.raises(RecordError, match="holds job QA-1041 already"),
        taken_in.transaction("RT-1", AT) as records,
    ):
        records.add_job(JOB)


def test_a_second_job_cannot_take_a_machine_that_is_there(taken_in: Ledger):
    with (
        pytest.raises(RecordError, match="machine QM-207 already"),
        taken_in.transaction("RT-1", AT) as records,
    ):
        records.add_job(job_like(job="QA-2000"))

    with taken_in.reading() as records:
        assert [job.name for job in records.jobs()] == ["QA-1041"]


def test_two_heads_whose_runs_would_be_named_alike_are_refused(ledger: Ledger):
    heads = [head.model_dump() | {"position": "left"} for head in JOB.heads]
    with (
        pytest.raises(RecordError, match="same letter"),
        ledger.transaction("RT-1", AT) as records,
    ):
        records.add_job(job_like(heads=heads))


def test_what_the_ledger_does_not_hold_is_named_beside_what_it_holds(taken_in: Ledger):
    with taken_in.reading() as records:
        with pytest.raises(RecordError, match="QA-1041"):
            records.job("QA-9")
        with pytest.raises(RecordError, match="QM-207-L, QM-207-S, QM-207-U"):
            records.attempts("QM-207-X")
        with pytest.raises(RecordError, match="no such run"):
            records.run("QA-1041-L-999")


def test_a_changed_line_of_scope_keeps_what_it_was_in_the_trail(taken_in: Ledger):
    with taken_in.transaction("EP-1", later(60)) as records:
        records.change_scope("QA-1041", "SC-20", ScopeState.ACCEPTED, "change order CO-1")

    with taken_in.reading() as records:
        line = next(line for line in records.scope("QA-1041") if line.item == "SC-20")
        entry = records.audit("scope SC-20 of job QA-1041")[-1]
    assert line.state is ScopeState.ACCEPTED
    assert '"state":"declined"' in entry.before
    assert '"state":"accepted"' in entry.after
    assert (entry.who, entry.why) == ("EP-1", "change order CO-1")


def test_work_on_a_declined_head_cannot_be_accepted(taken_in: Ledger):
    with (
        pytest.raises(GateClosedError, match="out of scope"),
        taken_in.transaction("EP-1", AT) as records,
    ):
        records.change_scope("QA-1041", "SC-29", ScopeState.ACCEPTED, "by phone")


def test_a_change_without_a_reason_or_of_no_line_is_refused(taken_in: Ledger):
    with taken_in.transaction("EP-1", AT) as records:
        with pytest.raises(RecordError, match="reason is empty"):
            records.change_scope("QA-1041", "SC-20", ScopeState.ACCEPTED, " ")
        with pytest.raises(RecordError, match="no such line"):
            records.change_scope("QA-1041", "SC-99", ScopeState.ACCEPTED, "CO-1")


def test_evidence_is_held_once_and_for_one_job(taken_in: Ledger):
    with taken_in.transaction("QI-2", later(5)) as records:
        item = records.evidence("QA-1041")
        add_supply_log(records)
        other = job_like(
            job="QA-2000",
            machine="QM-300",
            shared_module=None,
            heads=[{**JOB.heads[1].model_dump(), "designation": "QM-300-L"}],
            scope=[
                {"item": "SC-01", "unit": "QM-300-L", "text": "all", "state": ScopeState.ACCEPTED}
            ],
        )
        records.add_job(other)
        with pytest.raises(RecordError, match="held already"):
            records.add_evidence("QA-1041", SUPPLY_LOG, "again.csv", "again")
        with pytest.raises(GateClosedError, match="evidence of job QA-1041"):
            records.add_evidence("QA-2000", SUPPLY_LOG, "again.csv", "again")

    with taken_in.reading() as records:
        after = records.evidence("QA-1041")
    assert item == ()
    assert [(e.name, e.who, e.at) for e in after] == [
        ("supply.csv", "QI-2", "2031-05-06T07:08:14.123Z")
    ]


@pytest.mark.parametrize("name", ["", "log\x00.csv", "log\udcff.csv", "log\x1b[2J.csv"])
def test_text_that_cannot_be_printed_is_refused(taken_in: Ledger, name: str):
    with (
        pytest.raises(RecordError, match="name"),
        taken_in.transaction("QI-2", AT) as records,
    ):
        records.add_evidence("QA-1041", SUPPLY_LOG, name, "log of the supply")
