"""Instruments over the pages: standing, calibrations, and what a bad finding makes suspect."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from tests.web.floor_client import FloorClient, floor_client, staff
from tests.web.floor_seed import copied_shop, make_check, make_floor_shop
from tests.web.seed import HEAD
from tests.web.test_pages import Page

from spinproof.app.clock import utc_now
from spinproof.ledger.measuring import Answered
from spinproof.model.instrument import Standing
from spinproof.model.quantity import Quantity

LIST = "/instruments"
BONDING = "largest bonding resistance"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    with floor_client(copied_shop(built, tmp_path)) as client:
        yield client


def days(number: int) -> date:
    return utc_now().date() + timedelta(days=number)


def tach() -> dict[str, str]:
    return {
        "id": "OT-9",
        "kind": "optical tach",
        "words": "optical tach with a mark",
        "unit_1": "rpm",
        "low_1": "10",
        "high_1": "9999",
        "step_1": "0.1",
        "uncertainty_1": "0,2",
        "relative_1": "0.05",
        "at": str(days(-10)),
        "due": str(days(355)),
        "certificate": "T-77",
    }


def test_what_supports_no_verdict_stands_first_with_word_and_date(floor: FloorClient):
    page = floor.page(LIST)

    assert page.index("LO-2") < page.index("LO-1")
    assert Standing.EXPIRED.value in page
    assert str(days(197)) in page  # the shop was made three days ago
    assert "0 to 10 Ohm in steps of 0.001 Ohm; standard uncertainty 0.004 Ohm" in page


@pytest.mark.parametrize("path", [LIST, f"{LIST}/LO-1"])
def test_the_pages_are_sound(floor: FloorClient, path: str):
    page = Page(floor.http.get(path).text)
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]

    assert len(page.all("h1")) == 1
    assert len(page.all("caption")) == len(page.all("table"))
    assert len(ids) == len(set(ids))


def test_an_instrument_is_added_with_its_range_and_calibration(floor: FloorClient):
    answer = floor.send(LIST, "", tach())

    assert answer.headers["location"] == f"{LIST}/OT-9"
    page = floor.page(f"{LIST}/OT-9")
    assert "10 to 9999 rpm in steps of 0.1 rpm; standard uncertainty 0.2 rpm and 0.05 %" in page
    assert "calibration, T-77" in page
    assert "valid" in page


def test_a_further_range_is_added_to_an_instrument_and_said_once(floor: FloorClient):
    at = f"{LIST}/LO-1"
    for low in ("100", "1000", "10000"):
        more = {
            "unit_1": "Ohm",
            "low_1": low,
            "high_1": f"{low}0",
            "step_1": "1",
            "uncertainty_1": "2",
        }
        assert floor.send(at, "/ranges", more).headers["location"] == f"{at}#ranges"

    page = floor.page(at)
    assert "0 to 10 Ohm in steps of 0.001 Ohm; standard uncertainty 0.004 Ohm" in page
    assert "10000 to 100000 Ohm in steps of 1 Ohm; standard uncertainty 2 Ohm" in page
    assert "Unit of range 5" in page
    again = floor.send(at, "/ranges", more)
    assert again.status_code >= 400
    assert "is on record already" in again.text
    empty = floor.send(at, "/ranges", {"unit_1": "Ohm"})
    assert "Fill this in." in empty.text


def test_an_instrument_that_only_shows_needs_no_range(floor: FloorClient):
    lamp = {"id": "LP-1", "kind": "inspection lamp", "words": "white lamp"}

    assert floor.send(LIST, "", lamp).status_code == 303
    assert "needs none" in floor.page(LIST)


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"id": "LO-1"}, "id", "has an instrument of this name"),
        ({"high_1": ""}, "high_1", "Write a number alone"),
        ({"high_1": "5"}, "high_1", "must lie above low"),
        ({"unit_1": "furlong"}, "unit_1", "is not one of"),
        ({"due": "2020-01-01"}, "due", "must lie after"),
        ({"certificate": ""}, "certificate", "Fill this in"),
        ({"at": "soon"}, "at", "Write a date"),
        ({"at": "2999-01-01", "due": "2999-02-01"}, "at", "future"),
    ],
)
def test_what_cannot_be_taken_is_said_beside_its_field(
    floor: FloorClient, changed: dict[str, str], field: str, said: str
):
    answer = floor.send(LIST, "", tach() | changed, json=True)

    assert said in answer.json()["fields"][field]
    assert "OT-9" not in floor.page(LIST)


def test_a_new_calibration_makes_an_expired_instrument_valid(floor: FloorClient):
    place = f"{LIST}/LO-2"
    fields = {
        "at": str(days(0)),
        "due": str(days(365)),
        "certificate": "C-2",
        "as_found": "in tolerance",
        "as_left": "in tolerance",
    }
    answer = floor.send(place, "/calibrations", fields)
    twice = floor.send(place, "/calibrations", fields, json=True)

    assert answer.status_code == 303
    assert "never found out of tolerance" in floor.page(place)
    assert Standing.EXPIRED.value not in floor.page(place)
    assert "is on record already" in twice.json()["fields"]["at"]


def test_found_out_of_tolerance_says_which_answers_become_suspect(floor: FloorClient):
    make_check(floor.shop, "D-01")
    with floor.shop.ledger.transaction("TT-1", floor.shop.later()) as records:
        read = Answered(BONDING, quantity=Quantity(value=0.05, unit="Ohm"), instrument="LO-1")
        records.answer_reading(HEAD, "D-02", read)
    place = f"{LIST}/LO-1"
    fields = {"at": str(days(0)), "found": "out of tolerance", "note": "0.1 Ohm read 0.14"}
    answer = floor.send(place, "/checks", fields)
    page = floor.page(place)

    assert answer.headers["location"] == f"{place}#suspect"
    assert "Found out of tolerance: 1 answer suspect" in page
    assert f'href="/heads/{HEAD}/checks/D-02"' in page
    assert BONDING in page
    assert Standing.OUT_OF_TOLERANCE.value in page
    assert "suspect, for LO-1" in floor.page(f"/heads/{HEAD}/checks/D-02")


def test_a_check_of_tomorrow_is_refused_and_what_was_typed_stays(floor: FloorClient):
    fields = {"at": str(days(1)), "found": "in tolerance", "note": "against R-1"}
    answer = floor.send(f"{LIST}/LO-1", "/checks", fields)

    assert answer.status_code == 422
    assert "lies in the future" in answer.text
    assert "against R-1" in answer.text


def test_a_technician_may_add_one_and_an_unknown_one_is_said(floor: FloorClient):
    assert floor.http.get(f"{LIST}/NO-1").status_code == 404
    staff(floor.shop)
    floor.sign_in("TT-1")
    assert "Add an instrument" in floor.page(LIST)
