"""Signatures on a form: who it is, proved now, and whether they may."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from tests.web.seed import BEGIN, OWNER, Bench, empty_bench
from tests.web.staff import QUICK, WORD

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk, Place
from spinproof.ledger import database
from spinproof.model.access import Action, Condition, Role, Thing
from spinproof.model.errors import AccessError, SignInError, StorageError
from spinproof.web.sign_in import Signature, signed_by
from spinproof.web.visitor import Visitor

PIN = "284617"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = empty_bench(tmp_path)
    yield made
    made.ledger.close()


@pytest.fixture
def desk(bench: Bench) -> FrontDesk:
    made = FrontDesk(bench.ledger, QUICK)
    for name, role in (("TT-1", Role.TECHNICIAN), ("QI-2", Role.INSPECTOR)):
        made.add_person(name, role, OWNER, BEGIN)
    for name in (OWNER, "TT-1", "QI-2"):
        made.set_password(name, WORD, OWNER, BEGIN)
    made.set_pin("QI-2", PIN, "QI-2", BEGIN)
    return made


@pytest.fixture
def tablet(desk: FrontDesk) -> Place:
    return Place(device_secret=desk.enrol_device("tablet 1", OWNER, BEGIN))


def visitor(desk: FrontDesk, name: str, place: Place) -> Visitor:
    _, session = desk.sign_in(name, WORD, place, utc_now())
    (person,) = [p for p in desk.people() if p.name == name]
    return Visitor(person, place, "token", session, desk.device(place), proved=True)


def test_an_inspector_signs_by_pin_where_a_technician_is_signed_in(desk: FrontDesk, tablet: Place):
    me = visitor(desk, "TT-1", tablet)
    typed = Signature(signer="qi-2", proof=PIN)

    assert signed_by(typed, desk, me, Action.DECIDE, Thing.GATE).name == "QI-2"


def test_who_may_not_decide_cannot_sign_whoever_is_signed_in(desk: FrontDesk, tablet: Place):
    me = visitor(desk, "QI-2", tablet)
    with pytest.raises(AccessError, match="technician may not decide"):
        signed_by(Signature(signer="TT-1", proof=WORD), desk, me, Action.DECIDE, Thing.GATE)


def test_a_signed_in_inspector_proves_again_who_signs(desk: FrontDesk, tablet: Place):
    me = visitor(desk, "QI-2", tablet)
    with pytest.raises(SignInError):
        signed_by(Signature(signer="QI-2", proof=""), desk, me, Action.DECIDE, Thing.GATE)


def test_a_verdict_on_ones_own_work_is_not_ones_own_to_override(desk: FrontDesk, tablet: Place):
    me = visitor(desk, "QI-2", tablet)
    asked = (Signature(signer="QI-2", proof=PIN), desk, me, Action.DECIDE, Thing.VERDICT)
    with pytest.raises(AccessError, match="not one's own work"):
        signed_by(*asked, own_work=True, met=(Condition.REASON,))
    with pytest.raises(AccessError, match="a reason is given"):
        signed_by(*asked)
    assert signed_by(*asked, met=(Condition.REASON,)).name == "QI-2"


def test_the_owner_at_the_machine_itself_signs_by_name_and_nobody_else_does(bench: Bench):
    desk = FrontDesk(bench.ledger, QUICK)
    desk.add_person("QI-2", Role.INSPECTOR, OWNER, BEGIN)
    me = Visitor(desk.automatic_owner(), Place(), "token", proved=True)

    assert signed_by(Signature(signer="ow-1"), desk, me, Action.DECIDE, Thing.GATE).name == OWNER
    with pytest.raises(SignInError):
        signed_by(Signature(signer="QI-2"), desk, me, Action.DECIDE, Thing.GATE)


def test_a_full_disk_keeps_nobody_from_reading(desk: FrontDesk, monkeypatch: pytest.MonkeyPatch):
    secret, _ = desk.sign_in("TT-1", WORD, Place(), BEGIN)

    def is_full(*_: object) -> None:
        raise StorageError("the disk is full", where="ledger", mend="Free space.")

    monkeypatch.setattr(database, "writer", is_full)
    assert desk.session_of(secret, BEGIN + timedelta(minutes=5)) is not None
