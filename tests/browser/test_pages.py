"""A walk through the shop, as a person with a tablet makes it."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import TABLET
from tests.web.seed import EXCLUDED, HEAD

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

FAILED = "QA-1041-L-002"
PATHS = (
    "/",
    "/jobs/QA-1041",
    f"/heads/{HEAD}",
    f"/heads/{EXCLUDED}",
    f"/runs/{FAILED}",
    f"/live/{HEAD}",
    "/dossiers",
    "/words",
)
SERIOUS = {"serious", "critical"}
PANELS = 9


def test_the_way_from_the_shop_to_a_failed_run_and_back(page: Page, address: str):
    page.goto(address)
    page.get_by_role("link", name="QA-1041").first.click()
    expect(page.get_by_role("heading", name="Job QA-1041")).to_be_visible()
    expect(page.get_by_role("heading", name="Excluded from this job: 6")).to_be_in_viewport()

    page.get_by_role("link", name="QM-207-L lower head in scope").click()
    expect(page.get_by_text("attempts 8 = counted 4 + void 1").first).to_be_visible()

    page.get_by_role("navigation", name="Show runs by outcome").get_by_text(
        "relevant failure"
    ).click()
    expect(page.locator(".runs tbody tr")).to_have_count(1)

    page.get_by_role("link", name=FAILED).click()
    expect(page.get_by_role("heading", name="relevant failure")).to_be_visible()
    expect(page.get_by_text("the index was never proven").first).to_be_visible()
    expect(page.locator("#panels .uplot")).to_have_count(PANELS)

    page.get_by_role("link", name="Head L").click()
    expect(page.get_by_role("heading", name="Head QM-207-L")).to_be_visible()
    page.get_by_role("link", name="Shop").click()
    page.get_by_role("link", name="Dossiers (1)").click()
    expect(page.get_by_text("yes", exact=True)).to_be_visible()


def test_traces_zoom_to_a_step_and_back(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")
    status = page.locator("#window")
    expect(status).to_contain_text("the whole run")

    page.get_by_role("button", name="2 purge").click()
    expect(status).to_contain_text("every recorded sample")
    expect(status).to_contain_text("(a part)")
    page.get_by_role("button", name="Later").click()
    expect(status).not_to_contain_text("Shown: 56")
    page.get_by_role("button", name="Whole run").click()
    expect(status).to_contain_text("Shown: 0.0 s")
    expect(status).to_contain_text("the whole run")


def test_a_part_can_be_drawn_out_by_hand(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")
    plot = page.locator(".u-over").first
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.25 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], middle, steps=5)
    page.mouse.up()

    expect(page.locator("#window")).to_contain_text("(a part)")


def test_each_chart_says_in_words_what_it_draws(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")

    speed = page.get_by_role("img", name=re.compile(r"Speed over time: .*optical tach.* rpm"))
    expect(speed).to_be_visible()
    expect(page.locator(".panel .key").first).to_contain_text("rpm")


def test_charts_follow_the_device_into_the_dark(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")
    expect(page.locator("#panels .uplot")).to_have_count(PANELS)
    light = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.emulate_media(color_scheme="dark")

    expect(page.locator("#panels .uplot")).to_have_count(PANELS)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != light


def test_without_scripts_the_drawn_figure_and_the_filter_serve(chromium: Browser, address: str):
    context = chromium.new_context(viewport=TABLET, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/heads/{HEAD}")
    page.get_by_role("navigation", name="Show runs by outcome").get_by_text("void").click()
    expect(page.locator(".runs tbody tr")).to_have_count(1)
    page.get_by_role("link", name="QA-1041-L-001").click()

    figure = page.get_by_role("img", name=re.compile("Traces of run QA-1041-L-001"))
    page.wait_for_load_state("load")
    assert figure.bounding_box()["height"] > 300
    expect(page.locator("#charts")).to_be_hidden()
    context.close()


def test_on_paper_the_drawn_figure_takes_the_place_of_the_charts(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")
    expect(page.locator("figure.paper")).to_be_hidden()
    page.emulate_media(media="print")

    expect(page.locator("figure.paper")).to_be_visible()
    expect(page.locator("#charts")).to_be_hidden()
    expect(page.get_by_text("SIMULATED").first).to_be_visible()


def test_the_keyboard_reaches_the_content_first(page: Page, address: str):
    page.goto(f"{address}/jobs/QA-1041")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the content")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")

    assert page.url.endswith("#content")


def test_what_follows_from_the_exclusions_opens_with_a_tap(page: Page, address: str):
    page.goto(f"{address}/runs/{FAILED}")
    line = page.locator("details.exclusions")
    expect(line).to_contain_text("window replacement")
    consequence = line.get_by_text("The window stays as received")
    expect(consequence).to_be_hidden()
    line.locator("summary").click()

    expect(consequence).to_be_visible()


@pytest.mark.parametrize("path", PATHS)
def test_targets_are_large_enough_for_gloves(page: Page, address: str, path: str):
    page.goto(address + path)
    small = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, summary")]
            .filter((e) => e.checkVisibility() && !e.matches(".skip"))
            .map((e) => [e.textContent.trim().slice(0, 40), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 47.9 || box.width < 47.9)
            .map(([text, box]) => `${text}: ${box.width} x ${box.height}`)"""
    )

    assert small == []


@pytest.mark.parametrize("path", PATHS)
def test_no_page_scrolls_sideways_on_a_narrow_screen(page: Page, address: str, path: str):
    page.set_viewport_size({"width": 320, "height": 700})
    page.goto(address + path)

    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize("path", PATHS)
def test_axe_finds_nothing_serious_in_any_light_and_width(
    page: Page, address: str, axe: str, path: str
):
    page.goto(address + path)
    page.evaluate(axe)
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for width in (390, 820, 1180):
            page.set_viewport_size({"width": width, "height": 900})
            result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            found += [
                (
                    scheme,
                    width,
                    v["id"],
                    v["impact"],
                    [node["html"][:120] for node in v["nodes"][:3]],
                )
                for v in result["violations"]
                if v["impact"] in SERIOUS
            ]

    assert found == []
