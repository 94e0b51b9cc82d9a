"""Calculators on a tablet: fill in, read the answer, keep it; slots are tapped."""

from collections.abc import Iterator
from urllib.parse import urlencode

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Watched
from tests.browser.test_pages import SERIOUS
from tests.web.parts_seed import PartsShop, parts_shop
from tests.web.running import served
from tests.web.seed import HEAD

from spinproof.app.calculating import CalculationDesk, calculate
from spinproof.app.calculators.registry import CALCULATORS

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

ANSWERED = tuple(
    f"/calculators/{name}?{urlencode({**calculator.example, 'go': '1'})}"
    for name, calculator in CALCULATORS.items()
)
KEPT = "/calculations/1"
PATHS = pytest.mark.parametrize(
    "path",
    ["/calculators", KEPT, *ANSWERED],
    ids=["all", "kept", *CALCULATORS],
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("parts"))
    example = CALCULATORS["permissible-unbalance"].example
    CalculationDesk(made.ledger).keep(calculate("permissible-unbalance", example), HEAD, "AS-2")
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def address(shop: PartsShop) -> Iterator[str]:
    with served(shop.home) as opened:
        yield opened.rstrip("/")


def test_from_the_head_to_an_answer_that_is_kept_with_it(page: Page, address: str):
    page.goto(f"{address}/heads/{HEAD}")
    page.get_by_role("link", name="Calculate", exact=True).click()
    page.get_by_role("link", name="Permissible unbalance").click()
    page.get_by_label("Balance quality grade G").fill("6.3 mm/s")
    page.get_by_label("Mass of the rotor, with all that turns", exact=True).fill("16.2 kg")
    page.get_by_label("Mass of the rotor, with all that turns: standard").fill("1 %")
    page.get_by_label("Highest speed in service", exact=True).fill("2000 rpm")
    page.get_by_role("button", name="Calculate").click()

    expect(page.get_by_text("487.3 ± 9.7 g·mm").first).to_be_in_viewport()
    expect(page.get_by_label("Keep it with")).to_have_value(HEAD)
    page.get_by_role("button", name="Keep this calculation").click()
    expect(page.get_by_text("every result is the same")).to_be_visible()
    page.goto(f"{address}/heads/{HEAD}")
    expect(page.get_by_role("link", name="Permissible unbalance, no. 2")).to_be_visible()


def test_slots_are_tapped_and_a_load_that_pulls_too_much_is_refused_with_its_dummy(
    page: Page, address: str
):
    around = {"axis": "off-axis", "cassettes": "2", "each": "25", "radius": "150 mm"}
    wafers = {"wafer": "27.78 g", "seat": "0 mm", "rotor": "21.5 kg", "speed": "1150 rpm"}
    page.goto(f"{address}/calculators/load?{urlencode(around | wafers)}")
    page.get_by_role("link", name="Every slot").click()
    second = page.get_by_role("group", name="Loaded slots, cassette 2")
    expect(second.get_by_role("checkbox", checked=True)).to_have_count(25)
    second.get_by_role("checkbox", name="25").uncheck()
    page.get_by_role("button", name="Calculate").click()

    expect(page.get_by_text("refused: 4167 of 1125 g·mm").first).to_be_in_viewport()
    expect(page.get_by_text("2: 25", exact=True).first).to_be_visible()
    expect(page.get_by_role("img", name="Load of a rotor, drawn")).to_be_visible()


def test_readings_are_filled_into_a_table_and_a_missing_unit_is_said_at_its_cell(
    watched: Watched, address: str
):
    page = watched.page
    page.goto(address + ANSWERED[0])
    cell = page.get_by_label("Speed, row 2")
    cell.fill("900")
    page.get_by_role("button", name="Calculate").click()

    expect(page.get_by_text("The unit is missing, and turning speed")).to_be_visible()
    expect(page.get_by_label("Speed, row 2")).to_have_value("900")
    assert all("status of 422" in said for said in watched.complaints), watched.complaints


@PATHS
def test_targets_are_large_and_nothing_scrolls_sideways(page: Page, address: str, path: str):
    page.goto(address + path)
    small = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, summary, input, select")]
            .filter((e) => e.type !== "hidden")
            .filter((e) => e.checkVisibility() && !e.matches(".skip"))
            .map((e) => [e.name || e.textContent.trim(), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 47.9 || box.width < 47.9)
            .map(([text, box]) => `${text}: ${box.width} x ${box.height}`)"""
    )
    assert small == []
    for width in (320, 1024):
        page.set_viewport_size({"width": width, "height": 768})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@PATHS
def test_axe_finds_nothing_serious_in_light_and_dark(page: Page, address: str, axe: str, path: str):
    page.goto(address + path)
    page.evaluate(axe)
    found = []
    for scheme, width in (("light", 1024), ("dark", 390)):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        found += [
            (scheme, width, v["id"], [node["html"][:160] for node in v["nodes"][:3]])
            for v in result["violations"]
            if v["impact"] in SERIOUS
        ]

    assert found == []


def test_a_kept_calculation_prints_with_its_inputs_and_its_source(page: Page, address: str):
    page.goto(address + KEPT)
    page.emulate_media(media="print")

    expect(page.get_by_text("16.2 kg", exact=True).first).to_be_visible()
    expect(page.get_by_text("ISO 21940-11").first).to_be_visible()
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
