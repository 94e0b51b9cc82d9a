"""The page of a job's customer: covered until the owner asks, and each look is told."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from tests.web.floor_client import FloorClient, floor_client, form_on, staff
from tests.web.floor_seed import copied_shop, make_floor_shop

JOB = "/jobs/QA-1041"
HERE = f"{JOB}/customer"
WHO = {
    "alias": "OTTER",
    "names": "Glimmerbach Photonics\r\nHanna Vossberg\r\n",
    "contacts": "hanna@glimmerbach.example",
    "addresses": "Rotdornweg 9, Quellstedt",
    "words": "",
}
TRACES = ("glimmerbach", "vossberg", "rotdornweg", "quellstedt", "otter")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    """Give a shop in which the owner is signed in."""
    shop = copied_shop(built, tmp_path)
    staff(shop)
    with floor_client(shop) as client:
        client.sign_in("OW-1")
        yield client


def fill(floor: FloorClient, action: str, **fields: str) -> httpx.Response:
    return floor.post(action, {**form_on(floor.http.get(HERE).text, action), **fields})


def told_in(page: str) -> list[str]:
    return [trace for trace in TRACES if trace in page.lower()]


def look(floor: FloorClient) -> str:
    return fill(floor, f"{HERE}/look", purpose="to ship or to invoice").text


def test_what_was_entered_stays_covered_until_somebody_asks(floor: FloorClient):
    answer = fill(floor, HERE, **WHO)
    covered = floor.http.get(HERE).text
    shown = look(floor)

    assert answer.headers["location"] == HERE
    assert "in the sealed store" in covered
    assert told_in(covered) == []
    assert told_in(shown) == list(TRACES)
    assert "Hanna Vossberg" in shown


def test_each_look_stands_on_the_page_and_in_the_history(floor: FloorClient):
    fill(floor, HERE, **WHO)
    look(floor)
    page, history = floor.http.get(HERE).text, floor.http.get("/history").text

    assert "looked at" in page
    assert "to ship or to invoice" in page
    assert "looked at" in history
    assert told_in(history) == []


def test_a_change_starts_from_what_was_shown(floor: FloorClient):
    fill(floor, HERE, **WHO)
    hidden = form_on(look(floor), HERE)

    answer = floor.post(HERE, {**hidden, **WHO, "names": "Talwind Optics"})

    assert answer.headers["location"] == HERE
    assert "Talwind Optics" in look(floor)
    assert "Glimmerbach Photonics" not in look(floor)


def test_what_cannot_be_taken_stands_beside_its_field_and_stays_typed(floor: FloorClient):
    answer = fill(floor, HERE, **{**WHO, "alias": "Vossberg", "words": "Lumiquark"})

    assert answer.status_code == 422
    assert "The alias gives the customer away" in answer.text
    assert "Lumiquark" in answer.text
    assert "not entered" in floor.http.get(HERE).text


def test_only_the_owner_sees_the_way_there(floor: FloorClient):
    assert f'href="{HERE}"' in floor.http.get(JOB).text

    floor.sign_in("TT-1")

    assert f'href="{HERE}"' not in floor.http.get(JOB).text
    assert floor.http.get(HERE).status_code == 403


def test_the_page_is_kept_by_no_browser(floor: FloorClient):
    assert "no-store" in floor.http.get(HERE).headers["cache-control"]
