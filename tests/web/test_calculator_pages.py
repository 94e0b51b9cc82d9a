"""Calculators over the pages: units demanded, answers at their address, kept once."""

from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from tests.demo_files import JOB
from tests.web.floor_client import FloorClient, floor_client, form_on, staff
from tests.web.floor_seed import copied_shop, make_floor_shop
from tests.web.seed import HEAD, OWNER
from tests.web.staff import QUICK, WORD
from tests.web.test_pages import Page

from spinproof.app.calculating import CalculationDesk, calculate
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk
from spinproof.model.access import Role

NAME = "permissible-unbalance"
AT = f"/calculators/{NAME}"
ROTOR = {"grade": "6.3 mm/s", "mass": "16,2 kg", "mass.u": "1 %", "speed": "2000 rpm"}
ASKED = {**ROTOR, "go": "1"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def floor(built: Path, tmp_path: Path) -> Iterator[FloorClient]:
    with floor_client(copied_shop(built, tmp_path)) as client:
        yield client


def asked(floor: FloorClient, name: str, /, **typed: str) -> str:
    answer = floor.http.get(f"/calculators/{name}", params=typed)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


def keep_form(floor: FloorClient, **changed: str) -> dict[str, str]:
    """Calculate, and give the form below the answer, filled in."""
    return form_on(floor.http.get(AT, params=ASKED).text, f"{AT}/keep") | changed


def test_every_calculator_is_offered_and_its_page_is_sound(floor: FloorClient):
    listed = floor.page("/calculators")

    for name, calculator in CALCULATORS.items():
        assert f'href="/calculators/{name}"' in listed
        for typed in ({}, {**calculator.example, "go": "1"}):
            page = Page(floor.http.get(f"/calculators/{name}", params=typed).text)
            ids = [a["id"] for _, a in page.elements if "id" in a]
            assert len(page.all("h1")) == 1
            assert len(ids) == len(set(ids))


def test_each_page_shows_formula_source_caution_and_its_example_answered(floor: FloorClient):
    for name, calculator in CALCULATORS.items():
        page = asked(floor, name, **calculator.example, go="1")

        assert calculator.model_error in page
        for text in (*calculator.formula, *calculator.sources, *calculator.cautions):
            assert text in page
        assert "Nothing is calculated yet" not in page
        assert "Keep this calculation" in page


def test_an_answer_stands_at_its_own_address_with_its_uncertainty(floor: FloorClient):
    page = asked(floor, NAME, **ASKED)

    assert "487.3 ± 9.7 g·mm" in page
    assert 'value="16,2 kg"' in page


def test_a_bare_number_is_refused_beside_its_field_and_what_was_typed_stays(floor: FloorClient):
    answer = floor.http.get(AT, params=ASKED | {"mass": "16.2", "colour": "red"})
    page = unescape(answer.text)

    assert answer.status_code == 422
    assert "The unit is missing, and mass is expected. Write the number with one of: kg" in page
    assert 'value="16.2"' in page
    assert "The calculator has no such input" in page
    assert "Nothing is calculated yet" in page


def test_outside_the_law_the_page_says_that_it_cannot_say(floor: FloorClient):
    answer = floor.http.get(AT, params=ASKED | {"mass": "0 kg"})

    assert answer.status_code == 422
    assert "Cannot say: an input lies outside the range of its law" in answer.text
    assert "out-of-range" in answer.text


def test_a_calculator_that_is_not_there_is_said(floor: FloorClient):
    assert floor.http.get("/calculators/horoscope").status_code == 404
    assert floor.http.get("/calculations/99").status_code == 404
    assert floor.http.get("/calculations/x").status_code == 422
    assert floor.http.get(f"{AT}/figure.svg", params=ROTOR).status_code == 404


def test_a_calculation_is_kept_with_a_head_and_listed_there_at_its_job_and_in_the_history(
    floor: FloorClient,
):
    answer = floor.post(f"{AT}/keep", keep_form(floor, **{"with": HEAD}))
    place = answer.headers["location"]
    page = floor.page(place)

    assert "Made again now from what was typed, every result is the same." in page
    assert "16,2 kg" in page
    assert "u = 0.162 kg" in page
    for listing in (f"/heads/{HEAD}", f"/jobs/{JOB.job}"):
        assert f'href="{place}"' in floor.page(listing)
        assert "487.3 ± 9.7 g·mm" in floor.page(listing)
    assert "alculation kept" in floor.page(f"/history?about=unit {HEAD}")


def test_a_list_shows_the_verdict_beside_the_number(floor: FloorClient):
    balance = calculate("balance", CALCULATORS["balance"].example)
    CalculationDesk(floor.shop.ledger).keep(balance, HEAD, "TT-1")
    listed = floor.page(f"/heads/{HEAD}").partition('id="calculations"')[2]

    assert "<span>undecided</span>" in listed
    assert "52 of 64.02 g·mm" in listed


def test_the_same_form_sent_twice_keeps_one_record(floor: FloorClient):
    fields = keep_form(floor, **{"with": JOB.job})

    first, second = floor.post(f"{AT}/keep", fields), floor.post(f"{AT}/keep", fields)
    assert first.headers["location"] == second.headers["location"]
    assert len(CalculationDesk(floor.shop.ledger).kept_with(JOB.job)) == 1


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"with": ""}, "Choose the job or the head that it belongs to."),
        ({"with": "QM-0"}, "no such"),
        ({"with": JOB.job, "mass": "16.2"}, "The unit is missing"),
    ],
)
def test_what_cannot_be_kept_is_said_and_nothing_is_stored(
    floor: FloorClient, changed: dict[str, str], said: str
):
    answer = floor.post(f"{AT}/keep", keep_form(floor, **changed))

    assert answer.status_code in {404, 422}
    assert said in unescape(answer.text)
    assert CalculationDesk(floor.shop.ledger).kept_with(JOB.job) == ()


def test_earlier_polishes_of_a_part_are_filled_in_from_the_records(floor: FloorClient):
    desk = CalculationDesk(floor.shop.ledger)
    example = {
        key: text
        for key, text in CALCULATORS["electropolish"].example.items()
        if not key.startswith("before")
    }
    unweighed = {key: text for key, text in example.items() if key != "loss"}
    for typed in (example | {"part": "bwl01"}, unweighed | {"part": "BWL01"}, example):
        desk.keep(calculate("electropolish", typed), HEAD, "EP-1")
    page = asked(floor, "electropolish", part="BWL01", earlier="1")

    assert 'name="before.1.removed" type="text" autocomplete="off" value="20.47 um"' in page
    assert 'name="before.2.removed" type="text" autocomplete="off" value="31.8 um"' in page
    assert 'name="before.3.removed" type="text" autocomplete="off" value=""' in page


def test_a_presenter_may_calculate_and_not_keep(floor: FloorClient):
    staff(floor.shop)
    desk = FrontDesk(floor.shop.ledger, QUICK)
    desk.add_person("PR-1", Role.PRESENTER, OWNER, utc_now())
    desk.set_password("PR-1", WORD, OWNER, utc_now())
    floor.sign_in("PR-1")
    page = asked(floor, NAME, **ASKED)

    assert "487.3 ± 9.7 g·mm" in page
    assert "Keep this calculation" not in page


def test_nobody_calculates_before_signing_in(floor: FloorClient):
    staff(floor.shop)
    answer = floor.http.get(AT)

    assert answer.headers["location"].startswith("/sign-in?then")
