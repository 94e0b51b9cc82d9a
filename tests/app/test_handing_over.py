"""Handing over: a package from the records, a second one beside it, and none without runs."""

import json

import pytest
from tests.ledger.insider import insider
from tests.shop import HEAD, Shop, short_plan

from spinproof.app.anchoring import Way, send_head
from spinproof.app.burn_in import Station, make_next_run, open_campaign
from spinproof.app.handing_over import issue_dossier, verify
from spinproof.app.recording import StandAddress
from spinproof.ledger import database
from spinproof.model.errors import GateClosedError, RecordError, StandError


def test_a_later_dossier_stands_beside_the_earlier_one(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(2), by="TT-1")
    make_next_run(station)
    first = issue_dossier(shop.home, shop.ledger, HEAD)
    make_next_run(station)

    second = issue_dossier(shop.home, shop.ledger, HEAD)

    assert first.path.name == "QA-1041-QM-207-L"
    assert second.path.name == "QA-1041-QM-207-L-issue-2"
    assert verify(first.path, first.fingerprint).ok
    assert verify(second.path, first.fingerprint).ok


def test_an_attempt_of_which_nothing_was_recorded_is_reported_too(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(2), by="TT-1")
    make_next_run(station)
    nobody = StandAddress("127.0.0.1", 1)
    with pytest.raises(StandError):
        make_next_run(Station(shop.home, shop.ledger, HEAD, nobody, "TT-1", simulated_start=True))

    dossier = issue_dossier(shop.home, shop.ledger, HEAD)

    assert (dossier.tally.attempts, dossier.tally.counted, dossier.tally.aborted) == (2, 1, 1)
    assert verify(dossier.path, dossier.fingerprint).ok


def test_a_head_without_runs_has_no_dossier(shop: Shop):
    with pytest.raises(GateClosedError, match="no burn-in run"):
        issue_dossier(shop.home, shop.ledger, HEAD)


def test_records_that_contradict_their_audit_trail_leave_no_dossier(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    make_next_run(station)
    engine = database.connect(shop.home.ledger_url, 5)
    with insider(engine) as connection:
        connection.exec_driver_sql("UPDATE run SET wafer_count = 1")
        connection.commit()
    engine.dispose()

    with pytest.raises(GateClosedError, match=r"contradict their audit trail \(run QA-1041-L-001"):
        issue_dossier(shop.home, shop.ledger, HEAD)

    assert list(shop.home.dossiers.iterdir()) == []


def test_what_the_record_leaves_out_by_agreement_is_said(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    make_next_run(station)

    dossier = issue_dossier(shop.home, shop.ledger, HEAD)

    document = json.loads((dossier.path / "evidence.json").read_text())
    said = [statement["text"] for statement in document["statements"]]
    assert "Dry and wet test are not part of this record." in said


def test_a_head_that_left_the_house_is_found_again_in_the_package(shop: Shop, station: Station):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    sent = send_head(shop.home, shop.ledger, Way.LETTER, "with the quotation", by="OW-1")
    make_next_run(station)
    dossier = issue_dossier(shop.home, shop.ledger, HEAD)

    held = verify(dossier.path, dossier.fingerprint, held=sent.line)
    assert held.ok, held.findings
    assert any("that you hold" in text for text in held.checked)
    root = sent.entry.signed.head.root.upper()
    other = sent.line.replace(root, root[::-1])
    assert not verify(dossier.path, dossier.fingerprint, held=other).ok
    with pytest.raises(RecordError, match="no head of an audit trail"):
        verify(dossier.path, None, held="not a head")
