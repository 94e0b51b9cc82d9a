"""Who the customer is: in the sealed store, shown to the owner, and in nothing that leaves."""

import json
from pathlib import Path

import pytest
from tests.demo_files import JOB as FILE
from tests.shop import HEAD, Shop, short_plan

from spinproof.app.burn_in import Station, make_next_run, open_campaign
from spinproof.app.clock import utc_now
from spinproof.app.customers import Customer, CustomerDesk
from spinproof.app.evidence_desk import hold_evidence
from spinproof.app.exchange import export_shop
from spinproof.app.handing_over import issue_dossier, verify
from spinproof.app.history_views import find, history_of
from spinproof.app.people import FrontDesk
from spinproof.app.safekeeping import back_up
from spinproof.model.access import Role
from spinproof.model.attestation import CustomerPurpose
from spinproof.model.errors import (
    AccessError,
    DocumentError,
    GateClosedError,
    PackageError,
    RecordError,
)
from spinproof.model.job import JobFile

JOB = "QA-1041"
WHO = Customer(
    "OTTER",
    names=("Glimmerbach Photonics", "Hanna Vossberg"),
    contacts=("hanna@glimmerbach.example", "+00 555 0199 44"),
    addresses=("Rotdornweg 9, Quellstedt",),
    words=("Lumiquark",),
)
TRACES = ("glimmerbach", "vossberg", "0199 44", "rotdornweg", "quellstedt", "lumiquark", "otter")


@pytest.fixture
def desk(shop: Shop) -> CustomerDesk:
    return CustomerDesk(shop.home, shop.ledger)


def another_job() -> JobFile:
    """Give a job of another machine."""
    text = json.dumps(FILE.to_document()).replace("QM-207", "QM-300").replace(JOB, "QA-1042")
    return JobFile.from_document(json.loads(text))


def told_in(*folders: Path) -> list[str]:
    """Name what any file or file name below folders tells of the customer, in plain letters."""
    found = []
    for path in sorted(path for folder in folders for path in folder.rglob("*")):
        data = path.read_bytes().lower() if path.is_file() else b""
        spellings = [data, data.replace(b"\0", b""), path.name.lower().encode()]
        found += [
            f"{path.name}: {trace}"
            for trace in TRACES
            if any(trace.encode() in spelling for spelling in spellings)
        ]
    return found


def test_a_customer_is_entered_and_shown(desk: CustomerDesk):
    assert not desk.is_entered(JOB)

    desk.enter(JOB, WHO, by="OW-1")

    assert desk.is_entered(JOB)
    assert desk.look(JOB, CustomerPurpose.WRITE, by="OW-1") == WHO


def test_each_look_is_told_and_names_no_customer(desk: CustomerDesk, shop: Shop):
    desk.enter(JOB, WHO, by="OW-1")
    desk.look(JOB, CustomerPurpose.SHIP, by="OW-1")
    desk.look(JOB, CustomerPurpose.COMPARE, by="OW-1")

    assert [(look.who, look.deed, look.purpose) for look in desk.looks(JOB)] == [
        ("OW-1", "looked at", "to compare a document with it"),
        ("OW-1", "looked at", "to ship or to invoice"),
        ("OW-1", "entered", "to enter or correct it"),
    ]
    with shop.ledger.reading() as records:
        rows = [row for row in records.audit() if row.act == "fact.state"]
    assert [row.object for row in rows] == [f"job {JOB}"] * 3
    told = repr(rows).lower()
    assert not [trace for trace in TRACES if trace in told]


def test_no_file_of_the_shop_its_export_backup_or_dossier_tells_who_it_is(
    desk: CustomerDesk, shop: Shop, station: Station, tmp_path: Path
):
    desk.enter(JOB, WHO, by="OW-1")
    desk.look(JOB, CustomerPurpose.WRITE, by="OW-1")
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    make_next_run(station)
    dossier = issue_dossier(shop.home, shop.ledger, HEAD)
    export_shop(shop.home, shop.ledger, tmp_path / "export")
    back_up(shop.home, shop.ledger, tmp_path / "backup", by="OW-1")

    assert dossier.searched
    assert verify(dossier.path, dossier.fingerprint).ok
    assert told_in(shop.home.root, tmp_path / "export", tmp_path / "backup") == []
    assert not (tmp_path / "export" / "vault").exists()


def test_no_search_and_no_history_finds_it(desk: CustomerDesk, shop: Shop):
    desk.enter(JOB, WHO, by="OW-1")
    desk.change(JOB, WHO, by="OW-1")

    assert [find(shop.ledger, trace).hits for trace in TRACES] == [()] * len(TRACES)
    told = repr(history_of(shop.ledger, None)).lower()
    assert not [trace for trace in TRACES if trace in told]


def test_shown_in_a_shell_or_a_log_it_tells_nothing():
    assert not [trace for trace in TRACES if trace in repr(WHO).lower()]


def test_an_error_about_it_repeats_nothing(desk: CustomerDesk, shop: Shop):
    bad = Customer("OTTER", names=("Glimmerbach Photonics", "-"), contacts=WHO.contacts)

    with pytest.raises(DocumentError, match="names") as caught:
        desk.enter(JOB, bad, by="OW-1")

    assert caught.value.where == "names"
    assert "glimmerbach" not in repr(caught.value).lower() + str(caught.value).lower()
    assert caught.value.__cause__ is None
    assert not desk.is_entered(JOB)
    assert desk.looks(JOB) == ()


def test_an_alias_that_gives_the_customer_away_is_refused(desk: CustomerDesk):
    with pytest.raises(DocumentError, match="alias gives the customer away"):
        desk.enter(JOB, Customer("GLIMMERBACH 2", names=WHO.names), by="OW-1")


def test_a_change_takes_the_place_of_what_stood_there(desk: CustomerDesk):
    desk.enter(JOB, WHO, by="OW-1")
    changed = Customer("OTTER", names=("Glimmerbach Optics",))

    desk.change(JOB, changed, by="OW-1")

    assert desk.look(JOB, CustomerPurpose.CORRECT, by="OW-1") == changed


def test_under_another_alias_the_job_goes_over_to_that_customer(desk: CustomerDesk):
    desk.enter(JOB, WHO, by="OW-1")
    other = Customer("HERON", names=("Talwind Optics",))

    desk.change(JOB, other, by="OW-1")

    assert desk.look(JOB, CustomerPurpose.WRITE, by="OW-1") == other


def test_a_customer_is_not_entered_twice(desk: CustomerDesk):
    desk.enter(JOB, WHO, by="OW-1")

    with pytest.raises(GateClosedError, match="entered already"):
        desk.enter(JOB, WHO, by="OW-1")


def test_nothing_can_be_shown_or_changed_before_it_is_entered(desk: CustomerDesk):
    with pytest.raises(RecordError, match="nobody has entered"):
        desk.look(JOB, CustomerPurpose.WRITE, by="OW-1")
    with pytest.raises(RecordError, match="nobody has entered"):
        desk.change(JOB, WHO, by="OW-1")
    with pytest.raises(RecordError):
        desk.enter("QA-9", WHO, by="OW-1")

    assert desk.looks(JOB) == ()


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.INSPECTOR, Role.PRESENTER])
def test_nobody_but_an_owner_sees_or_changes_it(desk: CustomerDesk, shop: Shop, role: Role):
    people = FrontDesk(shop.ledger)
    people.first_owner("OW-1", utc_now())
    people.add_person("XX-1", role, "OW-1", utc_now())
    desk.enter(JOB, WHO, by="OW-1")

    for somebody in ("XX-1", "unknown"):
        with pytest.raises(AccessError, match="owner alone"):
            desk.look(JOB, CustomerPurpose.WRITE, by=somebody)
        with pytest.raises(AccessError, match="owner alone"):
            desk.change(JOB, WHO, by=somebody)
    assert len(desk.looks(JOB)) == 1


def test_a_dossier_that_names_the_customer_is_refused_and_says_where(
    desk: CustomerDesk, shop: Shop, station: Station, tmp_path: Path
):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    make_next_run(station)
    log = tmp_path / "supply.csv"
    log.write_text("time,bar\n0,4.1\n")
    hold_evidence(shop.home, shop.ledger, JOB, log, "read with H. Vossburg at hand", by="IN-3")
    desk.enter(JOB, WHO, by="OW-1")

    with pytest.raises(PackageError, match="tells who a customer is") as caught:
        issue_dossier(shop.home, shop.ledger, HEAD)

    said = str(caught.value)
    assert "part of a name of OTTER in evidence.json (with one slip)" in said
    assert "part of a name of OTTER in dossier.pdf, its text" in said
    assert "vossb" not in said.lower()
    assert list(shop.home.dossiers.iterdir()) == []


def test_a_shop_that_enters_its_customers_enters_them_before_a_dossier(
    desk: CustomerDesk, shop: Shop, station: Station
):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    make_next_run(station)
    first = issue_dossier(shop.home, shop.ledger, HEAD)
    with shop.ledger.transaction("RT-1", utc_now()) as records:
        records.add_job(another_job())
    desk.enter("QA-1042", WHO, by="OW-1")

    assert not first.searched
    with pytest.raises(RecordError, match="no customer of this job"):
        issue_dossier(shop.home, shop.ledger, HEAD)
