"""Calculations kept with a job: who, when, with what; never changed."""

import json
from collections.abc import Callable

import pytest
from tests.demo_files import JOB
from tests.ledger.cases import AT, HEAD, later, take_in
from tests.ledger.floor import CALCULATED, OTHER

from spinproof.ledger.entries import UnitKind
from spinproof.ledger.exporting import rows_of_other_jobs
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.searching import search
from spinproof.model.errors import RecordError
from spinproof.model.job import JobFile


def kept(ledger: Ledger, unit: str | None = HEAD, minutes: float = 1) -> int:
    with ledger.transaction("AS-2", later(60 * minutes)) as records:
        return records.keep_calculation(CALCULATED, job=JOB.job, unit=unit).id


def test_a_calculation_is_kept_with_who_when_and_where(ledger: Ledger):
    take_in(ledger)
    number = kept(ledger)

    with ledger.reading() as records:
        entry, told = records.calculation(number), records.audit()[-1]
        check = records.verify_audit()
    assert (entry.job, entry.unit, entry.who) == (JOB.job, HEAD, "AS-2")
    assert entry.content == CALCULATED
    assert (told.act, told.object) == ("calculation.keep", f"unit {HEAD}")
    assert json.loads(told.after)["content"]["inputs"][0]["typed"] == "16.2 kg"
    assert check.findings == ()


def test_those_of_a_job_and_of_a_head_are_given_in_order(ledger: Ledger):
    take_in(ledger)
    whole, own = kept(ledger, unit=None), kept(ledger, minutes=2)

    with ledger.reading() as records:
        assert [each.id for each in records.calculations(JOB.job)] == [whole, own]
        assert [each.id for each in records.calculations(unit=HEAD)] == [own]
        assert records.calculations(unit=OTHER) == ()
        assert records.unit(OTHER).kind is UnitKind.HEAD


def test_a_unit_of_another_job_is_refused_and_nothing_is_kept(ledger: Ledger):
    take_in(ledger)
    text = json.dumps(JOB.to_document()).replace(JOB.job, "QA-9").replace("QM-207", "QM-300")
    with ledger.transaction("RT-1", AT) as records:
        records.add_job(JobFile.from_document(json.loads(text)))

    with (
        pytest.raises(RecordError, match=f"{HEAD} belongs to job {JOB.job}"),
        ledger.transaction("AS-2", later(60)) as records,
    ):
        records.keep_calculation(CALCULATED, job="QA-9", unit=HEAD)
    with ledger.reading() as records:
        assert records.calculations() == ()


@pytest.mark.parametrize(
    "ask",
    [
        lambda records: records.calculations("QA-0"),
        lambda records: records.calculations(unit="QM-0"),
        lambda records: records.calculation(99),
    ],
    ids=["job", "unit", "number"],
)
def test_what_is_not_there_is_said(ledger: Ledger, ask: Callable[[HeadReading], object]):
    take_in(ledger)
    with ledger.reading() as records, pytest.raises(RecordError, match="no such"):
        ask(records)


def test_the_export_of_another_job_does_not_hold_it(ledger: Ledger):
    take_in(ledger)
    kept(ledger)
    with ledger.reading() as records:
        last = records.audit()[-1].seq
        withheld = rows_of_other_jobs(records._session, "QA-none")
        own = rows_of_other_jobs(records._session, JOB.job)

    assert last in withheld
    assert last not in own


def test_it_is_found_by_its_title_and_who_kept_it(ledger: Ledger):
    take_in(ledger)
    number = kept(ledger)
    with ledger.reading() as records:
        found = [h for h in search(records, "unbalance AS-2") if h.kind == "calculation"]

    assert [(hit.name, hit.words, hit.job, hit.unit) for hit in found] == [
        (str(number), "Permissible unbalance", JOB.job, HEAD)
    ]
