"""Facts over the pages: what a head needs to come through its gates can be stated there."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.floor_client import FloorClient, floor_client, staff
from tests.web.floor_seed import SHARED, copied_shop, make_floor_shop
from tests.web.seed import HEAD
from tests.web.test_pages import Page

from spinproof.model.attestation import Attestation, Balance, Decontamination, Fact
from spinproof.model.matter import MatterKind
from spinproof.model.tag import tag_of

FACTS = f"/heads/{HEAD}/facts"
CLEARED = {
    "direction": "outgoing",
    "cleared": "yes",
    "none_known_by": "QI-2",
    "method": "rinse and strip",
    "why": "report 12",
}
ROTOR, SPINDLE = tag_of(f"{HEAD}-RTR01"), tag_of(f"{HEAD}-SPI01")
BALANCED = {
    "rotor": ROTOR,
    "spindle": SPINDLE,
    "service_rpm": "2000",
    "grade": "G 6.3",
    "residual_1": "12,5",
    "limit_1": "40",
    "residual_2": "8",
    "limit_2": "40",
    "uncertainty": "2",
    "why": "balanced in its own bearings",
}
LIMIT = {
    "reading": "D-02, largest bonding resistance [Ohm]",
    "rule": "guarded",
    "basis": "customer",
    "source": "letter 4",
    "approved_by": "L-4",
    "why": "agreed with the customer",
}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    with floor_client(copied_shop(built, tmp_path)) as client:
        yield client


def stated(floor: FloorClient, kind: type[Fact]) -> list[Attestation]:
    with floor.shop.ledger.reading() as records:
        return [e.content for e in records.attestations(unit=HEAD) if isinstance(e.content, kind)]


def test_the_board_leads_to_the_facts_and_the_facts_to_the_shared_module(floor: FloorClient):
    assert f'href="{FACTS}"' in floor.page(f"/heads/{HEAD}/gates")
    page = floor.page(FACTS)

    assert "Incoming, cleared, by declaration and wipe test. RT-1 says that no hazard" in page
    assert f'href="/heads/{SHARED}/facts"' in page
    assert f"<h1>Facts of {SHARED}</h1>" in floor.page(f"/heads/{SHARED}/facts")


def test_the_page_is_sound(floor: FloorClient):
    page = Page(floor.http.get(FACTS).text)
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]

    assert len(page.all("h1")) == 1
    assert len(ids) == len(set(ids))


def test_a_decontamination_is_stated_once_however_often_its_form_is_sent(floor: FloorClient):
    end = "/decontamination"
    first = floor.send(FACTS, end, {**CLEARED, "form-key": "the same key, sent twice"})
    second = floor.send(FACTS, end, {**CLEARED, "form-key": "the same key, sent twice"})

    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert len(stated(floor, Decontamination)) == 2
    assert "Outgoing, cleared, by rinse and strip. QI-2 says" in floor.page(FACTS)


def test_that_no_hazard_is_known_needs_a_name(floor: FloorClient):
    answer = floor.send(FACTS, "/decontamination", {**CLEARED, "none_known_by": ""})

    assert answer.status_code == 422
    assert "give the name of who says that none is known" in answer.text
    assert 'value="rinse and strip"' in answer.text
    assert len(stated(floor, Decontamination)) == 1


def test_hazards_stand_a_line_each_and_beside_no_name(floor: FloorClient):
    hazards = "Acid in the drain trap.\n\nSharp glass in the bowl."
    both = floor.send(FACTS, "/decontamination", {**CLEARED, "hazards": hazards})
    listed = {**CLEARED, "hazards": hazards, "none_known_by": ""}
    answer = floor.send(FACTS, "/decontamination", listed)

    assert both.status_code == 422
    assert "Hazards are listed above" in both.text
    assert answer.status_code == 303
    last = stated(floor, Decontamination)[-1]
    assert isinstance(last, Decontamination)
    assert last.hazards == ("Acid in the drain trap.", "Sharp glass in the bowl.")


def test_a_balance_is_stated_of_rotor_and_spindle(floor: FloorClient):
    answer = floor.send(FACTS, "/balance", BALANCED)

    assert answer.status_code == 303, answer.text
    last = stated(floor, Balance)[-1]
    assert isinstance(last, Balance)
    assert [plane.residual_g_mm for plane in last.planes] == [12.5, 8.0]
    assert "plane 1: 12.5 of 40 g mm" in floor.page(FACTS)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("residual_1", "1,250", "can be read as 1.250 or as 1250"),
        ("residual_1", "12 g", "Write a number alone"),
        ("residual_1", "-3", "At least 0"),
        ("service_rpm", "0", "More than 0"),
        ("limit_2", "", "Write a number alone"),
        ("rotor", ROTOR[:-1] + "?", "tag"),
        ("spindle", tag_of("QM-207-L-SPI77"), "no such part"),
    ],
)
def test_what_cannot_be_taken_is_said_beside_its_field(
    floor: FloorClient, field: str, typed: str, said: str
):
    answer = floor.send(FACTS, "/balance", {**BALANCED, field: typed}, json=True)

    assert answer.status_code in {404, 409, 422}
    assert said in answer.json()["fields"][field]
    assert stated(floor, Balance) == []


def test_the_air_of_the_room_is_a_reading_or_two_flows(floor: FloorClient):
    half = floor.send(FACTS, "/room-air", {"fresh_air": "30", "why": "nameplates"}, json=True)
    whole = {"fresh_air": "30", "nitrogen": "10.95", "why": "nameplates"}

    assert half.json()["fields"] == {
        "oxygen": "give an oxygen reading, or fresh air and nitrogen together."
    }
    assert floor.send(FACTS, "/room-air", whole).status_code == 303
    assert "30 m³/h of fresh air against at most 10.95 m³/h" in floor.page(FACTS)


def test_clocks_and_papers_are_stated(floor: FloorClient):
    clock = {"device": "camera 1", "offset": "−4.2", "uncertainty": "0.5", "why": "shown together"}
    paper = {"tag": ROTOR.lower(), "paper": "certificate", "why": "came with the part"}

    assert floor.send(FACTS, "/clock-check", clock).status_code == 303
    assert floor.send(FACTS, "/paper", paper).status_code == 303
    page = floor.page(FACTS)
    assert "camera 1 is off by -4.2 s" in page
    assert f"The certificate of {ROTOR} is held." in page


def test_a_limit_takes_the_unit_of_its_reading(floor: FloorClient):
    offered = LIMIT["reading"] in floor.page(FACTS)
    neither = floor.send(FACTS, "/agreed-limit", LIMIT, json=True)
    answer = floor.send(FACTS, "/agreed-limit", {**LIMIT, "upper": "0.2"})

    assert offered
    assert "least, the most, or both" in neither.json()["fields"]["upper"]
    assert answer.status_code == 303, answer.text
    assert "at most 0.2 Ohm, guarded rule, by letter 4; approved by L-4" in floor.page(FACTS)


def test_a_technician_sets_no_limit(floor: FloorClient):
    staff(floor.shop)
    floor.sign_in("TT-1")
    page = floor.page(FACTS)
    token = page.partition('name="form-token" value="')[2].partition('"')[0]
    answer = floor.post(f"{FACTS}/agreed-limit", {**LIMIT, "form-token": token, "form-key": "k"})

    assert f"{FACTS}/agreed-limit" not in page
    assert answer.status_code == 403


def test_wafers_of_a_run_of_another_head_are_refused(floor: FloorClient):
    token = floor.page(FACTS).partition('name="form-token" value="')[2].partition('"')[0]
    fields = {"run": "R-1", "whole": "25", "broken": "0", "why": "counted"}
    answer = floor.post(f"{FACTS}/unloading", {**fields, "form-token": token, "form-key": "k"})

    assert answer.status_code == 422
    with floor.shop.ledger.reading() as records:
        assert records.matters("QA-1041", MatterKind.NONCONFORMANCE) == ()


def test_a_unit_that_is_not_there_is_said(floor: FloorClient):
    assert floor.http.get("/heads/QM-9/facts").status_code == 404
