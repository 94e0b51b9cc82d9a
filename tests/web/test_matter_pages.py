"""Nonconformances and waivers over the pages: their steps, and the two names of a waiver."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from tests.web.floor_client import FloorClient, floor_client, form_on, staff
from tests.web.floor_seed import copied_shop, make_floor_shop
from tests.web.seed import HEAD
from tests.web.test_pages import Page

from spinproof.ledger.states import NonconformanceState, WaiverState

MATTERS = f"/heads/{HEAD}/matters"
OPEN_NCR, ASK = f"/heads/{HEAD}/nonconformances", f"/heads/{HEAD}/waivers"
NCR, WAIVER = "QA-1041-NCR-01", "QA-1041-WVR-01"
OPENED = {"text": "The door switch opens late.", "severity": "safety", "why": "seen at D-05"}
ASKED = {"subject": "D-05", "risk": "The door may open early.", "why": "no switch until March"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    """Give a shop of three people in which the technician is signed in."""
    shop = copied_shop(built, tmp_path)
    staff(shop)
    with floor_client(shop) as client:
        client.sign_in("TT-1")
        yield client


def fill(floor: FloorClient, action: str, **fields: str) -> httpx.Response:
    """Fill in a form of the page of matters and send it."""
    hidden = form_on(floor.http.get(MATTERS).text, action)
    return floor.post(action, {**hidden, **fields})


def step(floor: FloorClient, name: str, state: str, **fields: str) -> httpx.Response:
    return floor.send(MATTERS, f"/{name}", {"state": state, "why": f"it is {state}", **fields})


def approve(floor: FloorClient, letter: str) -> httpx.Response:
    return step(floor, WAIVER, "in force", token=letter)


def state_of(floor: FloorClient, name: str) -> str:
    with floor.shop.ledger.reading() as records:
        return records.matter(name).state.value


def test_an_open_nonconformance_stands_first_and_on_the_board(floor: FloorClient):
    answer = fill(floor, OPEN_NCR, **OPENED)

    assert answer.headers["location"] == f"{MATTERS}#{NCR}"
    page = floor.page(MATTERS)
    assert "keeps the gates closed" in page
    assert f'href="{MATTERS}"' in floor.page(f"/heads/{HEAD}/gates")
    assert f"{NCR}: The door switch opens late" in floor.page(f"/heads/{HEAD}/gates")


def test_only_the_steps_that_may_follow_are_offered(floor: FloorClient):
    fill(floor, OPEN_NCR, **OPENED)
    page = floor.page(MATTERS)
    skipped = step(floor, NCR, "closed")

    assert '<option value="contained">' in page
    assert '<option value="closed">' not in page
    assert skipped.status_code == 403
    assert step(floor, NCR, "actioned").status_code == 422
    assert state_of(floor, NCR) == "open"


def test_a_nonconformance_goes_through_its_states_by_two_people(floor: FloorClient):
    fill(floor, OPEN_NCR, **OPENED)
    assert step(floor, NCR, "contained").status_code == 303
    bare = step(floor, NCR, "dispositioned", cause="worn cam")
    assert bare.status_code == 422
    assert "A disposition is missing" in bare.text
    assert 'value="worn cam"' in bare.text
    done = step(floor, NCR, "dispositioned", cause="worn cam", disposition="rework")
    assert done.status_code == 303
    assert step(floor, NCR, "actioned").status_code == 303
    assert step(floor, NCR, "verified").status_code == 403

    floor.sign_in("QI-2")
    assert step(floor, NCR, "verified").status_code == 303
    assert step(floor, NCR, "closed").status_code == 303
    assert state_of(floor, NCR) == NonconformanceState.CLOSED
    page = floor.page(MATTERS)
    assert "disposition: rework; cause: worn cam" in page
    assert "No nonconformance is open" in page


def test_who_did_the_work_does_not_verify_it(floor: FloorClient):
    floor.sign_in("QI-2")
    fill(floor, OPEN_NCR, **OPENED)
    step(floor, NCR, "contained")
    step(floor, NCR, "dispositioned", cause="worn cam", disposition="rework")
    step(floor, NCR, "actioned")
    answer = step(floor, NCR, "verified")

    assert answer.status_code == 422
    assert "QI-2 did the work and cannot verify it" in answer.text
    assert state_of(floor, NCR) == "actioned"


def test_a_waiver_bears_two_names_and_what_shows_the_customers_consent(floor: FloorClient):
    fill(floor, ASK, **ASKED)
    assert step(floor, WAIVER, "approved by the shop").status_code == 403
    floor.sign_in("QI-2")
    assert step(floor, WAIVER, "approved by the shop").status_code == 303
    missing = step(floor, WAIVER, "in force")
    assert "customer&#39;s approval is missing" in missing.text
    assert approve(floor, "letter 9").status_code == 303

    page = floor.page(MATTERS)
    assert state_of(floor, WAIVER) == WaiverState.IN_FORCE
    assert "Asked by <b>TT-1</b>; approved for the shop by <b>QI-2</b>" in page
    assert "customer: letter 9" in page
    assert "waived" in floor.page(f"/heads/{HEAD}/gates/dry-test")


def test_who_asked_for_a_waiver_does_not_approve_it(floor: FloorClient):
    floor.sign_in("QI-2")
    fill(floor, ASK, **ASKED)
    answer = step(floor, WAIVER, "approved by the shop")

    assert answer.status_code == 422
    assert "QI-2 asked for it and cannot approve it" in answer.text


def test_a_waiver_of_nothing_known_is_refused_and_what_was_typed_stays(floor: FloorClient):
    answer = fill(floor, ASK, **{**ASKED, "subject": "the rain"})

    assert answer.status_code == 422
    assert "Name a nonconformance, a check or a checkpoint" in answer.text
    assert 'value="The door may open early."' in answer.text


@pytest.mark.parametrize(
    ("field", "typed"), [("checkpoint", "tea"), ("severity", "grim"), ("text", "")]
)
def test_what_cannot_be_taken_opens_nothing(floor: FloorClient, field: str, typed: str):
    answer = fill(floor, OPEN_NCR, **{**OPENED, field: typed})

    assert answer.status_code == 422
    assert "No nonconformance is open" in floor.page(MATTERS)


def test_the_page_is_sound(floor: FloorClient):
    fill(floor, OPEN_NCR, **OPENED)
    fill(floor, ASK, **ASKED)
    page = Page(floor.http.get(MATTERS).text)
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]

    assert len(page.all("h1")) == 1
    assert len(ids) == len(set(ids))
    assert floor.http.get("/heads/QM-207-S/matters").status_code == 200
