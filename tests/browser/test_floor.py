"""Gates and checks on a tablet: drafts, an offline spell, one effect, undo, gloves."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from tests.web.floor_seed import FloorShop, copied_shop, make_check, make_floor_shop
from tests.web.running import served
from tests.web.seed import HEAD

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

D_01, D_02 = f"/heads/{HEAD}/checks/D-01", f"/heads/{HEAD}/checks/D-02"
GATES = f"/heads/{HEAD}/gates"
SENT_AGAIN_MS = 20_000
"""Longest wait for what the page sends again by itself, each 5 s, also on a busy machine."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_floor_shop(tmp_path_factory.mktemp("floor"))


@pytest.fixture
def shop(built: Path, tmp_path: Path) -> Iterator[FloorShop]:
    made = copied_shop(built, tmp_path)
    yield made
    made.ledger.close()


@pytest.fixture
def at(shop: FloorShop) -> Iterator[str]:
    with served(shop.home) as opened:
        yield opened.rstrip("/")


def answers(shop: FloorShop, check: str) -> list[float | bool | str | None]:
    with shop.ledger.reading() as records:
        found = records.measurements(HEAD, check)
    return [m.value if m.value is not None else m.yes for m in found]


def test_the_board_refuses_the_wet_test_with_its_sentence(page: Page, at: str):
    page.goto(f"{at}{GATES}")
    expect(page.get_by_role("link", name=re.compile("^Next: D-01"))).to_be_visible()
    page.get_by_role("link", name="Wet test").click()

    expect(page.get_by_text("Not passed yet: dry test.").first).to_be_visible()
    expect(page.get_by_role("button", name="Send this answer")).to_have_count(0)
    page.get_by_role("link", name="W-01").click()
    expect(page.get_by_role("heading", name="It is not its turn yet")).to_be_visible()


def test_a_dry_test_check_is_made_from_the_first_answer_to_its_end(
    page: Page, shop: FloorShop, at: str
):
    make_check(shop, "D-01")
    page.goto(f"{at}{D_02}")
    first, second = page.locator("#reading-1"), page.locator("#reading-2")
    first.get_by_label("Largest bonding resistance, in Ω").fill("0,062")
    expect(first.get_by_text("Reads as 0.062 Ω")).to_be_visible()
    first.get_by_label("Instrument").select_option("LO-1")
    first.get_by_role("button", name="Store 0.062 Ω").click()
    expect(first.locator(".value")).to_have_text("0.0620 ± 0.0080 Ω")
    expect(first.get_by_text(re.compile("^Stored [0-9:]{8}$"))).to_be_visible()

    second.get_by_label("Part with the largest value").fill("door hinge")
    second.get_by_role("button", name="Store").click()
    expect(second.locator(".value")).to_have_text("door hinge")
    page.get_by_role("button", name="Call D-02 finished on head L").click()
    expect(page.get_by_role("link", name="Next: D-03").first).to_be_visible()

    with shop.ledger.reading() as records:
        assert records.checks(HEAD, "D-02")[-1].passed


def test_a_draft_survives_a_reload(page: Page, shop: FloorShop, at: str):
    make_check(shop, "D-01")
    page.goto(f"{at}{D_02}")
    field = page.locator("#reading-2").get_by_label("Part with the largest value")
    field.fill("door hinge")
    expect(page.locator("#reading-2 [data-kept]")).to_have_text(
        re.compile("^Kept on this device [0-9:]{8}, not stored yet$")
    )
    page.reload()

    expect(field).to_have_value("door hinge")
    assert answers(shop, "D-02") == []


def test_an_answer_given_offline_is_sent_once_the_network_is_back(
    context: BrowserContext, shop: FloorShop, at: str
):
    page = context.new_page()  # its console tells of the lost network
    page.goto(f"{at}{D_01}")
    context.set_offline(True)
    page.locator("#reading-1").get_by_role("button", name="Yes").click()
    expect(page.locator("#sync")).to_contain_text("1 not sent yet")
    expect(page.locator("#reading-1 [data-kept]")).to_contain_text("Not sent yet")
    assert answers(shop, "D-01") == []

    context.set_offline(False)
    expect(page.locator("#reading-1 .value")).to_have_text("yes")
    expect(page.locator("#sync")).to_be_hidden(timeout=SENT_AGAIN_MS)
    assert answers(shop, "D-01") == [True]


def test_an_answer_whose_reply_was_lost_has_one_effect(
    context: BrowserContext, shop: FloorShop, at: str
):
    page = context.new_page()
    page.goto(f"{at}{D_01}")
    lost: list[str] = []

    def lose_first(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().text())
        route.abort()

    page.route("**/readings/1", lose_first)
    page.locator("#reading-1").get_by_role("button", name="Yes").click()
    expect(page.locator("#sync")).to_contain_text("1 not sent yet")
    page.goto(f"{at}{D_01}")

    expect(page.locator("#sync")).to_be_hidden(timeout=SENT_AGAIN_MS)
    expect(page.locator("#reading-1 .value")).to_have_text("yes")
    assert json.loads(lost[0]) == {"location": f"{D_01}#reading-1"}
    assert answers(shop, "D-01") == [True]


def test_a_double_tap_gives_one_record(page: Page, shop: FloorShop, at: str):
    page.goto(f"{at}{D_01}")
    page.locator("#reading-1").get_by_role("button", name="Yes").dblclick()

    expect(page.locator("#reading-1 .value")).to_have_text("yes")
    assert answers(shop, "D-01") == [True]


def test_an_answer_is_undone_with_one_tap(page: Page, shop: FloorShop, at: str):
    page.goto(f"{at}{D_01}")
    page.locator("#reading-1").get_by_role("button", name="No", exact=True).click()
    expect(page.locator("#undo")).to_be_visible()
    page.locator("#undo").get_by_role("button", name="Take it back").click()

    expect(page.locator("#reading-1 .value")).to_have_count(0)
    expect(page.locator("#undo")).to_be_hidden()
    assert answers(shop, "D-01") == [False, None]


def test_what_the_server_refuses_stays_in_its_field_with_the_reason(
    context: BrowserContext, shop: FloorShop, at: str
):
    make_check(shop, "D-01")
    page = context.new_page()
    page.goto(f"{at}{D_02}")
    card = page.locator("#reading-1")
    card.get_by_label("Largest bonding resistance, in Ω").fill("0.062")
    card.get_by_role("button", name="Store 0.062 Ω").click()

    expect(card.get_by_role("alert")).to_have_text("Choose what measured it.")
    expect(card.get_by_label("Largest bonding resistance, in Ω")).to_have_value("0.062")
    expect(page.locator("#sync")).to_be_hidden(timeout=SENT_AGAIN_MS)
    assert answers(shop, "D-02") == []


def test_bench_mode_makes_large_targets_and_is_kept_on_the_device(page: Page, at: str):
    page.goto(f"{at}{D_01}")
    page.get_by_role("button", name=re.compile("^Bench mode")).click()
    page.goto(f"{at}{GATES}")

    expect(page.get_by_role("button", name=re.compile("^Bench mode"))).to_have_attribute(
        "aria-pressed", "true"
    )
    box = page.get_by_role("link", name=re.compile("^Next: D-01")).bounding_box()
    assert box is not None
    assert box["height"] >= 72


def test_a_check_is_made_without_scripts(chromium: Browser, shop: FloorShop, at: str):
    make_check(shop, "D-01")
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{at}{D_02}")
    card = page.locator("#reading-1")
    card.get_by_label("Largest bonding resistance, in Ω").fill("0.062")
    card.get_by_label("Instrument").select_option("LO-1")
    card.get_by_role("button", name="Look at it").click()
    expect(card.get_by_text("Reads as 0.062 Ω")).to_be_visible()
    card.get_by_role("button", name="Store 0.062 Ω").click()

    expect(card.locator(".value")).to_have_text("0.0620 ± 0.0080 Ω")
    assert answers(shop, "D-02") == [0.062]
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", [GATES, f"{GATES}/dry-test", D_01, D_02, "/desks", "/desks/test"])
def test_axe_finds_nothing_serious(
    page: Page, shop: FloorShop, at: str, axe: str, path: str, scheme: str
):
    make_check(shop, "D-01")
    page.emulate_media(color_scheme=scheme)
    page.goto(f"{at}{path}")
    page.evaluate(axe)
    found = page.evaluate("axe.run()")
    bad = [v for v in found["violations"] if v["impact"] in {"serious", "critical"}]

    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in bad] == []
