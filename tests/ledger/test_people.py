"""People, their secrets, devices, sessions and forms, on both databases."""

from datetime import timedelta

import pytest
from sqlalchemy import create_engine, exc, inspect, text
from tests.ledger.cases import AT

from spinproof.ledger.ledger import Ledger
from spinproof.ledger.people_entries import Means, Purpose
from spinproof.ledger.people_tables import SECRET
from spinproof.model.access import ELSEWHERE, ON_SHOP_TABLET, Role
from spinproof.model.errors import GateClosedError, RecordError

HASH = "$argon2id$v=19$m=65536,t=3,p=4$c2FsdA$not-a-real-hash"
DIGEST = "ab" * 32


@pytest.fixture
def shop(ledger: Ledger) -> Ledger:
    with ledger.transaction("OW-1", AT) as records:
        records.add_person("OW-1", Role.OWNER)
        records.add_person("TT-1", Role.TECHNICIAN)
    return ledger


def test_people_are_known_by_any_spelling_of_their_name(shop: Ledger):
    with shop.reading() as records:
        assert records.person(" ow-1 ").name == "OW-1"
        assert [p.name for p in records.people()] == ["OW-1", "TT-1"]


@pytest.mark.parametrize("name", ["tt-1", "ＴＴ-1", "judge", "Guest", " ", "x" * 81, "a\x00b"])
def test_a_name_that_cannot_stand_for_one_person_is_refused(shop: Ledger, name: str):
    with pytest.raises(RecordError), shop.transaction("OW-1", AT) as records:
        records.add_person(name, Role.TECHNICIAN)


@pytest.mark.parametrize("role", [Role.CUSTOMER_LINK, Role.RECORDER, Role.GUEST])
def test_roles_of_links_and_programs_are_not_for_people(shop: Ledger, role: Role):
    with (
        pytest.raises(RecordError, match="not for people"),
        shop.transaction("OW-1", AT) as records,
    ):
        records.add_person("XX-1", role)
    with (
        pytest.raises(RecordError, match="not for people"),
        shop.transaction("OW-1", AT) as records,
    ):
        records.change_person("TT-1", role=role, active=True, why="a try")


def test_the_last_owner_stays_owner(shop: Ledger):
    for role, active in ((Role.TECHNICIAN, True), (Role.OWNER, False)):
        with (
            pytest.raises(GateClosedError, match="no owner"),
            shop.transaction("OW-1", AT) as records,
        ):
            records.change_person("OW-1", role=role, active=active, why="a try")
    with shop.transaction("OW-1", AT) as records:
        assert not records.change_person(
            "TT-1", role=Role.TECHNICIAN, active=False, why="left"
        ).active


def test_nobody_gets_a_password_before_the_owner(shop: Ledger):
    with (
        pytest.raises(GateClosedError, match="owner has no password"),
        shop.transaction("OW-1", AT) as records,
    ):
        records.set_secret("TT-1", Means.PASSWORD, HASH)


def test_a_pin_needs_a_password_beside_it(shop: Ledger):
    with (
        pytest.raises(GateClosedError, match="PIN stands beside"),
        shop.transaction("OW-1", AT) as records,
    ):
        records.set_secret("OW-1", Means.PIN, HASH)


def test_the_trail_tells_of_every_change_and_holds_no_secret(shop: Ledger):
    with shop.transaction("OW-1", AT) as records:
        records.set_secret("OW-1", Means.PASSWORD, HASH)
        records.set_secret("OW-1", Means.PIN, HASH)
        records.enrol_device("tablet 1", DIGEST)
        records.begin_session("OW-1", DIGEST[::-1], device="tablet 1", beyond=False)
        records.tell_proof(
            "OW-1",
            Means.PIN,
            Purpose.SIGNATURE,
            accepted=True,
            device="tablet 1",
            beyond=False,
        )
        records.retire_device("tablet 1", "broken")
    with shop.reading() as records:
        entries, check = records.audit(), records.verify_audit()

    assert check.broken is None
    assert [entry.act for entry in entries] == [
        "person.add",
        "person.add",
        "person.change",
        "person.change",
        "device.enrol",
        "person.prove",
        "device.retire",
    ]
    told = "".join(f"{entry.before}{entry.after}" for entry in entries)
    assert "argon2" not in told
    assert DIGEST not in told
    assert DIGEST[::-1] not in told


def test_a_role_changed_behind_the_trail_is_named(shop: Ledger, url: str):
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with engine.begin() as connection:
        connection.execute(text("UPDATE person SET role = 'owner' WHERE name = 'TT-1'"))
    engine.dispose()

    with shop.reading() as records:
        broken = records.verify_audit().broken

    assert broken == "person TT-1 is not what the trail tells: role differs"


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM person",
        "DELETE FROM device",
        "DELETE FROM proof",
        "UPDATE person SET name = 'XX-9'",
        "UPDATE proof SET accepted = true",
    ],
)
def test_the_database_itself_keeps_people_and_proofs(shop: Ledger, url: str, statement: str):
    with shop.transaction("OW-1", AT) as records:
        records.enrol_device("tablet 1", DIGEST)
        records.tell_proof(
            "TT-1",
            Means.PASSWORD,
            Purpose.SIGN_IN,
            accepted=False,
            device=None,
            beyond=True,
        )
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with pytest.raises(exc.DBAPIError, match="append-only"), engine.begin() as connection:
        connection.execute(text(statement))
    engine.dispose()


def test_only_the_secret_tables_hold_secrets(shop: Ledger, url: str):
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    holding = {
        table
        for table in inspect(engine).get_table_names()
        for column in inspect(engine).get_columns(table)
        if column["name"] in {"hash", "key"} or (table == "session" and column["name"] == "sha256")
    }
    engine.dispose()

    assert holding == set(SECRET)


@pytest.mark.parametrize(
    ("device", "idle_s", "alive"),
    [
        (None, ELSEWHERE.idle_s - 1, True),
        (None, ELSEWHERE.idle_s + 1, False),
        ("tablet 1", ON_SHOP_TABLET.idle_s - 1, True),
        ("tablet 1", ON_SHOP_TABLET.idle_s + 1, False),
    ],
)
def test_a_session_ends_when_it_is_idle(
    shop: Ledger, device: str | None, idle_s: float, *, alive: bool
):
    with shop.transaction("OW-1", AT) as records:
        records.enrol_device("tablet 1", DIGEST)
        session = records.begin_session("TT-1", "cd" * 32, device=device, beyond=False)

    assert session.is_live(AT + timedelta(seconds=idle_s)) is alive


def test_a_session_in_use_ends_after_a_day_all_the_same(shop: Ledger):
    with shop.transaction("OW-1", AT) as records:
        records.begin_session("TT-1", DIGEST, device=None, beyond=False)
    late = AT + timedelta(seconds=ELSEWHERE.absolute_s + 1)
    with shop.transaction("sign-in", late) as records:
        records.see_session(DIGEST)
        session = records.session(DIGEST)

    assert session is not None
    assert not session.is_live(late)


def test_a_person_at_rest_is_signed_out_everywhere(shop: Ledger):
    with shop.transaction("OW-1", AT) as records:
        for digest in (DIGEST, "cd" * 32):
            records.begin_session("TT-1", digest, device=None, beyond=False)
        records.change_person("TT-1", role=Role.TECHNICIAN, active=False, why="left")
    with shop.reading() as records:
        assert [s.is_live(AT) for s in records.sessions("TT-1")] == [False, False]


def test_a_form_key_is_taken_once(shop: Ledger):
    with shop.transaction("OW-1", AT) as records:
        records.claim_form("k1", "/people")
    with pytest.raises(RecordError), shop.transaction("TT-1", AT) as records:
        records.claim_form("k1", "/people")
    with shop.transaction("OW-1", AT) as records:
        records.finish_form("k1", "/people#TT-1")
    with shop.reading() as records:
        form = records.form("k1")

    assert form is not None
    assert (form.person, form.location) == ("OW-1", "/people#TT-1")
