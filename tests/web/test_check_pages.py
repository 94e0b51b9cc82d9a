"""Checks over the pages: shown back, stored once, taken back, finished, refused in words."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from tests.web.floor_client import FloorClient, floor_client, form_on
from tests.web.floor_seed import copied_shop, make_check, make_floor_shop
from tests.web.seed import HEAD

from spinproof.ledger.shop_entries import MeasurementEntry
from spinproof.model.attestation import EvidenceDetail
from spinproof.model.check import EvidenceKind
from spinproof.model.judgement import Verdict

D_01, D_02 = f"/heads/{HEAD}/checks/D-01", f"/heads/{HEAD}/checks/D-02"
BONDING = {"value": "0,062", "instrument": "LO-1"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    with floor_client(copied_shop(built, tmp_path)) as client:
        yield client


@pytest.fixture
def bonding(floor: FloorClient) -> FloorClient:
    """Give a head whose next check is the bonding."""
    make_check(floor.shop, "D-01")
    return floor


def measured(floor: FloorClient, check: str) -> tuple[MeasurementEntry, ...]:
    with floor.shop.ledger.reading() as records:
        return records.measurements(HEAD, check)


def test_a_check_shows_task_caution_limit_and_what_its_instruments_are_worth(bonding: FloorClient):
    page = bonding.page(D_02)

    assert "Measure from the earth terminal" in page
    assert "Mains locked out and proven dead." in page
    assert "at most 0.1 Ω" in page
    assert "Accepted up to 0.09342 Ω, with u = 0.004 Ω at the limit." in page
    assert "Rule: guarded by 1.645 u: at most 5 % risk of accepting at the limit." in page
    assert "LO-1, low-ohm meter, 1 A: valid until" in page
    assert "LO-2, low-ohm meter, 1 A: indication only: calibration expired" in page


def test_a_number_is_shown_back_with_its_unit_before_it_is_stored(bonding: FloorClient):
    shown = bonding.send(D_02, "/readings/1", BONDING)

    assert shown.status_code == 200
    assert "Reads as 0.062 Ω" in shown.text
    assert "Store 0.062 Ω" in shown.text
    assert measured(bonding, "D-02") == ()

    again = {**form_on(shown.text, f"{D_02}/readings/1"), **BONDING}
    stored = bonding.post(f"{D_02}/readings/1", again)

    assert stored.status_code == 303
    assert stored.headers["location"] == f"{D_02}#reading-1"
    (entry,) = measured(bonding, "D-02")
    assert (entry.value, entry.symbol, entry.verdict) == (0.062, "Ohm", Verdict.PASS)
    page = bonding.page(D_02)
    assert "0.0620 ± 0.0080 Ω" in page
    assert "Margin: 0.0380 Ω inside; probability that the true value lies inside >0.999" in page


@pytest.mark.parametrize(
    ("typed", "stored"), [("0.062", 0.062), ("0,062", 0.062), ("62 mΩ", 62.0), ("6.2e-2", 0.062)]
)
def test_comma_point_and_other_units_are_read(bonding: FloorClient, typed: str, stored: float):
    fields = {**BONDING, "value": typed, "confirmed": typed}
    answer = bonding.send(D_02, "/readings/1", fields)

    assert answer.status_code == 303, answer.text
    assert measured(bonding, "D-02")[0].value == stored


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"value": ""}, "does not begin with a number"),
        ({"value": "1,234"}, "can be read as 1.234 or as 1234"),
        ({"value": "0.06 V"}, "is a unit of voltage"),
        ({"instrument": ""}, "Choose what measured it."),
    ],
)
def test_what_cannot_be_stored_is_said_and_kept(
    bonding: FloorClient, fields: dict[str, str], sentence: str
):
    typed = {**BONDING, "confirmed": "0.062 Ohm", **fields}
    answer = bonding.send(D_02, "/readings/1", typed)

    assert answer.status_code == 422
    assert sentence in answer.text
    assert f'value="{typed["value"]}"' in answer.text
    assert measured(bonding, "D-02") == ()


def test_a_number_that_was_confirmed_otherwise_is_shown_back_again(bonding: FloorClient):
    fields = {**BONDING, "confirmed": "0.62 Ohm"}
    page = bonding.send(D_02, "/readings/1", fields)
    script = bonding.send(D_02, "/readings/1", fields, json=True)

    assert "Reads as 0.062 Ω" in page.text
    assert script.status_code == 422
    assert "This reads as 0.062 Ω" in script.json()["fields"]["value"]
    assert measured(bonding, "D-02") == ()


def test_an_expired_instrument_is_an_indication_only(bonding: FloorClient):
    fields = {**BONDING, "instrument": "LO-2", "confirmed": "0.062 Ohm"}
    bonding.send(D_02, "/readings/1", fields)

    assert "LO-2, indication only: calibration expired" in bonding.page(D_02)


def test_the_same_form_sent_twice_stores_one_answer(floor: FloorClient):
    fields = {**form_on(floor.page(D_01), f"{D_01}/readings/1"), "yes": "yes"}
    answers = [floor.post(f"{D_01}/readings/1", fields, json=True) for _ in range(2)]

    assert [a.json() for a in answers] == [{"location": f"{D_01}#reading-1"}] * 2
    assert len(measured(floor, "D-01")) == 1


def test_an_answer_is_taken_back_at_once_without_a_reason_and_stays_on_record(floor: FloorClient):
    floor.send(D_01, "/readings/1", {"yes": "no"})
    taken = floor.send(D_01, "/readings/1/take-back", {"why": ""})

    assert taken.status_code == 303
    first, second = measured(floor, "D-01")
    assert first.yes is False
    assert second.is_withdrawn
    assert second.why == "Taken back at once."
    assert form_on(floor.page(D_01), f"{D_01}/readings/1")


def test_an_older_answer_is_taken_back_for_a_reason_only(floor: FloorClient):
    make_check(floor.shop, "D-01", finish=False)
    refused = floor.send(D_01, "/readings/1/take-back", {"why": ""})
    taken = floor.send(D_01, "/readings/1/take-back", {"why": "wrong machine"})

    assert refused.status_code == 409
    assert "The reason for taking it back is missing" in refused.text
    assert taken.status_code == 303
    assert measured(floor, "D-01")[-1].why == "wrong machine"


def test_another_answer_takes_the_place_of_the_first_for_a_reason_only(floor: FloorClient):
    floor.send(D_01, "/readings/1", {"yes": "no"})
    refused = floor.send(D_01, "/readings/1", {"yes": "yes"})
    stored = floor.send(D_01, "/readings/1", {"yes": "yes", "why": "the card was turned"})

    assert refused.status_code == 422
    assert "Say why another answer takes its place" in refused.text
    assert stored.status_code == 303
    assert [m.yes for m in measured(floor, "D-01")] == [False, True]


def test_an_answer_that_waited_for_the_network_bears_the_time_it_was_given(floor: FloorClient):
    floor.send(D_01, "/readings/1", {"yes": "yes", "age_s": "600"})

    assert "entered later" in floor.page(D_01)


def test_a_reading_that_not_every_head_has_is_left_out_with_a_reason(floor: FloorClient):
    refused = floor.send(D_01, "/readings/5", {"leave": "out"})
    stored = floor.send(D_01, "/readings/5", {"leave": "out", "left_out": "its history is known"})

    assert refused.status_code == 422
    assert stored.status_code == 303
    assert "left out: its history is known" in floor.page(D_01)


def test_a_check_is_finished_with_its_evidence_and_leads_to_the_next(floor: FloorClient):
    make_check(floor.shop, "D-01", finish=False)
    bare = floor.send(D_01, "/finish", {})
    with floor.shop.ledger.reading() as records:
        evidence = [item.sha256 for item in records.evidence("QA-1041")]
    finished = floor.send(D_01, "/finish", {"evidence": evidence})

    assert bare.status_code == 409
    assert "Evidence is missing: a photo of this head" in bare.text
    assert finished.status_code == 303
    assert "Next: D-02" in floor.page(D_01)


def test_a_check_before_its_turn_gives_the_reason_and_leads_to_the_one_that_may_be_made(
    floor: FloorClient,
):
    page = floor.page(D_02)

    assert "It is not its turn yet" in page
    assert "D-02 comes after D-01, which is not passed." in page
    assert "Go to D-01, which may be made now" in page
    assert "data-draft" not in page


def test_an_answer_before_its_turn_is_refused_in_words(floor: FloorClient):
    own = form_on(floor.page(D_01), f"{D_01}/readings/1")
    fields = {**own, **BONDING, "confirmed": "0.062 Ohm"}
    answer = floor.post(f"{D_02}/readings/1", fields, json=True)

    assert answer.status_code == 409
    assert "D-02 comes after D-01" in answer.json()["what"]


def test_a_reading_that_the_check_does_not_have_is_said(floor: FloorClient):
    own = form_on(floor.page(D_01), f"{D_01}/readings/1")
    answer = floor.post(f"{D_01}/readings/9", {**own, "yes": "yes"})

    assert answer.status_code == 404
    assert "there is no reading 9" in answer.text


def attach(floor: FloorClient, name: str, content: bytes, **fields: str):
    hidden = form_on(floor.page(D_01), f"{D_01}/evidence")
    data = {**hidden, "shows": "photo", "what": "head with its card", **fields}
    return floor.http.post(f"{D_01}/evidence", data=data, files={"file": (name, content)})


def test_a_photo_comes_in_as_evidence_of_the_head_without_its_metadata(floor: FloorClient):
    told = Image.Exif()
    told[0x010F] = "a camera's maker"
    photo = BytesIO()
    Image.new("RGB", (40, 30), "grey").save(photo, "jpeg", exif=told)
    answer = attach(floor, "card.jpg", photo.getvalue())

    assert answer.status_code == 303, answer.text
    page = floor.page(D_01)
    assert "card.jpg: D-01: head with its card" in page
    with floor.shop.ledger.reading() as records:
        (held,) = [e for e in records.evidence("QA-1041") if e.name == "card.jpg"]
        detail = records.attestations(unit=HEAD)[-1].content
    assert f'value="{held.sha256}" checked' in page
    assert b"maker" not in (floor.shop.home.evidence / held.sha256).read_bytes()
    assert isinstance(detail, EvidenceDetail)
    assert (detail.sha256, detail.shows) == (held.sha256, EvidenceKind.PHOTO)


def test_a_file_that_is_no_evidence_is_refused_beside_its_field(floor: FloorClient):
    answer = attach(floor, "card.jpg", bytes(range(256)))

    assert answer.status_code == 422
    assert "The file is of an unknown type" in answer.text
    assert "head with its card" in answer.text


def test_evidence_without_a_file_is_said(floor: FloorClient):
    answer = floor.send(D_01, "/evidence", {"shows": "photo", "what": "head with its card"})

    assert answer.status_code == 422
    assert "Choose a file." in answer.text
