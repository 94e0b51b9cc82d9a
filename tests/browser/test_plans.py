"""Plans and predictions in a browser: edited by tapping, answered, accessible in light and dark."""

from pathlib import Path

import pytest
from playwright.sync_api import Page
from tests.demo_files import DEMO_DATA
from tests.web.seed import HEAD

pytestmark = pytest.mark.browser
PLANS, PREDICT = f"/heads/{HEAD}/plans", f"/heads/{HEAD}/predict"


def first_plan(page: Page, address: str) -> str:
    """Open the plan that the head has from its burn-in."""
    page.goto(address + PLANS)
    page.get_by_role("link", name="burn-in of the lower head").last.click()
    page.wait_for_selector("h2#runs")
    return page.url


def serious(page: Page, axe: str) -> list[str]:
    """Scan a page in light and dark."""
    page.evaluate(axe)
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        found += [
            f"{scheme}: {violation['id']}: {violation['nodes'][0]['html'][:200]}"
            for violation in result["violations"]
            if violation["impact"] in {"serious", "critical"}
        ]
    return found


def test_a_plan_is_made_edited_and_still_there_as_it_was(page: Page, address: str):
    page.goto(address + PLANS)
    page.get_by_label("Name").fill("a second plan")
    page.set_input_files("#recipe", Path(DEMO_DATA) / "cr-1.recipe.toml")
    page.set_input_files("#load", Path(DEMO_DATA) / "partial.load.toml")
    page.get_by_label("Runs", exact=True).fill("24")
    page.get_by_role("button", name="Make the plan").click()
    page.wait_for_selector("h2#runs")
    made = page.url
    page.get_by_role("button", name="Pin run 9", exact=True).click()
    page.wait_for_selector("h2#edits")

    assert page.url != made
    assert "Pinned run 9" in page.inner_text("main")
    page.goto(made)
    assert page.locator("h2#edits").count() == 0


def test_a_plan_fits_a_phone(page: Page, address: str):
    page.set_viewport_size({"width": 390, "height": 844})
    first_plan(page, address)

    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_axe_finds_nothing_serious_on_a_plan(page: Page, address: str, axe: str):
    first_plan(page, address)

    assert serious(page, axe) == []


def test_a_recipe_is_asked_about_and_axe_finds_nothing_serious(page: Page, address: str, axe: str):
    page.set_default_timeout(90_000)
    page.goto(address + PREDICT)
    page.get_by_role("button", name="Predict").click()
    page.wait_for_selector("#answer")

    assert "until dry" in page.inner_text("main")
    assert serious(page, axe) == []
