"""Gates and desks over the pages: what is open, why the rest is not, and who signs."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import httpx
import pytest
from tests.web.floor_client import FloorClient, floor_client, staff
from tests.web.floor_seed import copied_shop, make_check, make_floor_shop
from tests.web.seed import HEAD
from tests.web.staff import WORD

from spinproof.app.clock import utc_now
from spinproof.app.desk_views import Desk
from spinproof.app.shop import shop_rules
from spinproof.ledger.measuring import Answered
from spinproof.ledger.shop_entries import Deed, Meaning
from spinproof.model.attestation import Decontamination, Direction
from spinproof.model.matter import Nonconformance
from spinproof.model.part import Severity
from spinproof.model.quantity import Quantity

GATES = f"/heads/{HEAD}/gates"
BUILD, DRY, WET = (f"{GATES}/{point}" for point in ("build", "dry-test", "wet-test"))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    with floor_client(copied_shop(built, tmp_path)) as client:
        yield client


@pytest.fixture
def unsigned(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    """Give a shop of three people whose head is built and not signed."""
    shop = copied_shop(built, tmp_path, at_dry_test=False)
    staff(shop)
    with floor_client(shop) as client:
        yield client


def signatures(floor: FloorClient) -> list[tuple[str, str]]:
    with floor.shop.ledger.reading() as records:
        found = records.signatures(HEAD)
    return [(s.meaning.value, s.who) for s in found if s.checkpoint.value == "build"]


def test_the_board_offers_what_may_come_next_and_says_why_the_rest_may_not(floor: FloorClient):
    page = floor.page(GATES)

    assert "Next: D-01 Cleared, complete, locked out, and the right machine" in page
    assert "20 checks have not been made: D-01" in page
    assert "Not passed yet: dry test. (R18)" in page
    assert page.count("Next: ") == 1
    assert page.index("Incoming inspection") < page.index("Dry test") < page.index("Release")


def test_the_wet_test_is_refused_with_its_sentence(floor: FloorClient):
    page = floor.page(WET)

    assert "Why its turn has not come" in page
    assert "Not passed yet: dry test." in page
    assert "Send this answer" not in page


def test_a_gate_whose_checks_are_open_takes_no_signature(floor: FloorClient):
    page = floor.page(DRY)
    answer = floor.send(f"/heads/{HEAD}/checks/D-01", "/finish", {})

    assert "Why it cannot be signed yet" in page
    assert "Send this answer" not in page
    assert answer.status_code == 409


def test_a_check_that_was_made_shows_on_its_gate(floor: FloorClient):
    make_check(floor.shop, "D-01")

    assert "1</b> of 20 checks stand" in floor.page(DRY)
    assert "Next: D-02 Protective bonding" in floor.page(DRY)


def test_a_finished_check_shows_its_readings_with_margin_probability_and_rule(floor: FloorClient):
    make_check(floor.shop, "D-01")
    with floor.shop.ledger.transaction("TT-1", floor.shop.later()) as records:
        for reading in shop_rules().check("D-02").readings:
            answered = Answered(reading.name, words="door frame")
            if reading.unit:
                value = Quantity(value=0.05, unit=reading.unit)
                answered = Answered(reading.name, quantity=value, instrument="LO-1")
            records.answer_reading(HEAD, "D-02", answered)
    before = floor.page(DRY)
    with floor.shop.ledger.transaction("TT-1", floor.shop.later()) as records:
        records.finish_check(HEAD, "D-02", Deed("finished"))

    page = floor.page(DRY)

    assert "0.05" not in before
    assert "Largest bonding resistance: <b>0.0500 ± 0.0080 Ω</b>" in page
    assert "Margin: 0.0500 Ω inside; probability that the true value lies inside >0.999" in page
    assert "Rule: guarded by 1.645 u" in page
    assert "Part with the largest value: door frame" in page
    assert "questions answered yes." in page


def sign(floor: FloorClient, signer: str, answer: str):
    fields = {"answer": answer, "signer": signer, "proof": WORD}
    return floor.send(BUILD, "", fields)


def test_the_answer_that_stands_there_first_signs_nothing(unsigned: FloorClient):
    unsigned.sign_in("TT-1")
    page = unsigned.page(BUILD)
    answer = sign(unsigned, "TT-1", "not now")

    assert 'value="not now" checked' in page
    assert f"I performed the work of the build on head {HEAD}" in page
    assert answer.status_code == 422
    assert "Nothing is signed" in answer.text
    assert signatures(unsigned) == []


def test_one_person_performed_and_another_verified(unsigned: FloorClient):
    unsigned.sign_in("TT-1")
    assert sign(unsigned, "TT-1", "performed").status_code == 303
    assert "to be verified" in unsigned.page(GATES)

    assert sign(unsigned, "QI-2", "verified").status_code == 303
    assert signatures(unsigned) == [("performed", "TT-1"), ("verified", "QI-2")]
    assert "verified by <b>QI-2</b>, inspector" in unsigned.page(GATES)


def test_who_performed_it_does_not_verify_it(unsigned: FloorClient):
    unsigned.sign_in("QI-2")
    assert sign(unsigned, "QI-2", "performed").status_code == 303
    answer = sign(unsigned, "QI-2", "verified")

    assert answer.status_code == 409
    assert "QI-2 did work that this gate covers, and cannot verify it" in answer.text
    assert signatures(unsigned) == [("performed", "QI-2")]


def test_a_technician_performs_and_does_not_verify(unsigned: FloorClient):
    unsigned.sign_in("TT-1")
    sign(unsigned, "QI-2", "performed")
    answer = sign(unsigned, "TT-1", "verified")

    assert answer.status_code == 403
    assert "The role technician may not decide: gates" in answer.text


def test_a_wrong_password_signs_nothing(unsigned: FloorClient):
    unsigned.sign_in("TT-1")
    fields = {"answer": "performed", "signer": "TT-1", "proof": "four other words here"}
    answer = unsigned.send(BUILD, "", fields)

    assert answer.status_code == 401
    assert "four other words" not in answer.text
    assert signatures(unsigned) == []


def test_a_signature_that_is_not_the_next_one_is_refused(unsigned: FloorClient):
    unsigned.sign_in("TT-1")
    answer = sign(unsigned, "QI-2", "verified")

    assert answer.status_code == 422
    assert "This signature is not the next one" in answer.text


def test_what_needs_somebody_stands_first_and_on_the_desk_of_quality(floor: FloorClient):
    with floor.shop.ledger.transaction("TT-1", floor.shop.later()) as records:
        about = Nonconformance(text="The door switch opens late.", severity=Severity.SAFETY)
        records.open_matter("QA-1041", about, Deed("seen"), unit=HEAD)
    board, desk = floor.page(GATES), floor.page("/desks/quality")

    assert board.index("The door switch opens late") < board.index("The checkpoints in their order")
    assert "QA-1041-NCR-01: The door switch opens late (open)." in desk


def test_a_gate_is_to_be_repeated_once_its_records_changed(floor: FloorClient):
    with floor.shop.ledger.transaction("QI-2", utc_now() - timedelta(minutes=5)) as records:
        first = records.signatures(HEAD)[0]
        records.state_fact(_another_record(), unit=HEAD)
    page = floor.page(f"{GATES}/incoming-inspection")

    assert first.meaning is Meaning.PERFORMED
    assert "to be repeated" in page
    assert "the records that it covers have changed since" in page


def _another_record():
    return Decontamination(
        direction=Direction.INCOMING,
        cleared=True,
        none_known_by="QI-2",
        method="second wipe test",
    )


@pytest.mark.parametrize("desk", list(Desk))
def test_each_desk_is_shown(floor: FloorClient, desk: Desk):
    assert f"<h1>{desk.value.capitalize()}</h1>" in floor.page(f"/desks/{desk}")


def test_the_desk_of_tests_has_one_large_next_step(floor: FloorClient):
    page = floor.page("/desks/test")

    assert '<p class="lead">D-01 Cleared, complete, locked out, and the right machine</p>' in page
    assert "LO-2: its calibration ended on" in page


def test_the_presenter_sees_no_designation(floor: FloorClient):
    assert HEAD not in floor.page("/desks/presenter")


def test_ones_own_desk_stands_first(unsigned: FloorClient):
    unsigned.sign_in("QI-2")
    page = unsigned.page("/desks")

    assert page.index("Quality (yours)") < page.index("Receiving")


@pytest.mark.parametrize("path", ["/desks/kitchen", f"{GATES}/tea-break"])
def test_a_desk_or_checkpoint_that_is_not_there_is_said(floor: FloorClient, path: str):
    answer = floor.http.get(path)

    assert answer.status_code == 404
    assert "there is no such" in answer.text


def test_a_job_of_burn_in_only_says_that_it_keeps_no_gates(client: httpx.Client):
    answer = client.get(GATES)

    assert answer.status_code == 200
    assert "The job was taken in for burn-in only" in answer.text
    assert f'href="{GATES}"' not in client.get(f"/heads/{HEAD}").text
    assert client.get(DRY).status_code == 409


def test_the_page_of_a_head_leads_to_its_gates(floor: FloorClient):
    assert f'href="{GATES}"' in floor.page(f"/heads/{HEAD}")
