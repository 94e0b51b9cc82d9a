"""A whole virtual burn-in, made through the pages alone: from its plan to judged runs."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.web.running import served
from tests.web.seed import AS_BUILT, HEAD, JOB, PLAN, Bench, empty_bench

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Bench]:
    """Give a head that is configured, with a plan that is kept."""
    made = empty_bench(tmp_path)
    with made.ledger.transaction("RT-1", made.now) as records:
        records.add_job(JOB)
    made.configure(AS_BUILT)
    with made.ledger.transaction("TT-1", made.later(1)) as records:
        records.keep_plan(PLAN)
    yield made
    made.ledger.close()


@pytest.fixture
def address(shop: Bench) -> Iterator[str]:
    with served(shop.home) as opened:
        yield opened.rstrip("/")


def start_simulated(page: Page, runs: int, speed: str) -> None:
    page.get_by_label("Planned runs, one after the other").fill(str(runs))
    page.get_by_label("Speed", exact=True).select_option(speed)
    page.get_by_role("button", name="Start SIMULATED runs").click()


def test_a_burn_in_is_made_from_its_plan_to_judged_runs(page: Page, axe: str, address: str):
    page.goto(f"{address}/heads/{HEAD}/burn-in")
    page.get_by_role("link", name="Burn-in plans").click()
    page.get_by_role("link", name=PLAN.name).click()
    page.get_by_role("button", name="Open a campaign under this plan").click()
    expect(page.locator(".nextstep")).to_contain_text("Enter planned run 1 of 4")
    assert violations(page, axe) == []

    start_simulated(page, 1, "60 times")
    page.get_by_role("link", name="Live page of head L").click()
    expect(page.locator("#step")).to_have_text(re.compile("fast dry"), timeout=20_000)
    expect(page.locator(".headstrip")).to_contain_text("lower head of QM-207")
    expect(page.locator("#basis")).to_have_text("counted from the command")
    expect(page.locator("#rolling .panel")).to_have_count(7)
    page.get_by_label("What was seen or heard, or why").fill("a knock")
    page.get_by_role("button", name="Mark this moment").click()
    expect(page.locator("#marked")).to_contain_text("Kept:")
    expect(page.locator("#links .reached").last).to_contain_text(
        "lock released by the controller", timeout=20_000
    )
    expect(page.locator("#warned")).to_be_hidden()
    expect(page.locator("#words")).to_have_text("The recording has ended: complete.")
    assert "safe to open" not in page.locator("main").inner_text()
    assert violations(page, axe) == []

    page.get_by_role("link", name="Burn-in page").click()
    expect(page.locator(".outcome")).to_contain_text("What ran is what was planned", timeout=20_000)
    expect(page.locator(".nextstep")).to_contain_text("Enter planned run 2 of 4", timeout=20_000)
    expect(page.get_by_text(re.compile("Moment marked at .* a knock"))).to_be_visible()
    start_simulated(page, 3, "as fast as it can")
    expect(page.locator(".nextstep")).to_contain_text(
        "Every planned run has counted", timeout=40_000
    )
    expect(page.locator(".tally").first).to_contain_text("attempts 4 = counted 4")
    page.get_by_role("link", name="QA-1041-L-004").click()
    expect(page.get_by_role("heading", name="Run QA-1041-L-004")).to_be_visible()


def violations(page: Page, axe: str) -> list[str]:
    page.evaluate(axe)
    found = page.evaluate("axe.run().then(r => r.violations)")
    return [f"{v['id']}: {v['nodes'][0]['target']}" for v in found]
