"""The live page, fed by a journal that the test writes."""

import os
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.demo_files import LOWER
from tests.web.running import served
from tests.web.seed import HEAD, Bench, blocks_of, burn_in_bench

from spinproof.app.clock import utc_now
from spinproof.model.run import Ending
from spinproof.record.journal import JournalWriter
from spinproof.virtualhead.head import VirtualHead

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Bench]:
    made = burn_in_bench(tmp_path)
    yield made
    made.ledger.close()


@pytest.fixture
def served_shop(shop: Bench) -> Iterator[str]:
    with served(shop.home) as opened:
        yield opened.rstrip("/")


def test_the_page_follows_a_run_from_waiting_to_its_end(page: Page, shop: Bench, served_shop: str):
    page.goto(f"{served_shop}/live/{HEAD}")
    expect(page.locator("#words")).to_contain_text("No run of this head is recorded now")

    run = shop.start()
    blocks = list(blocks_of(shop.program(run), VirtualHead(LOWER)))
    with JournalWriter(shop.journal(run), shop.opening(run), 0) as journal:
        for block in blocks[:120]:
            journal.append_block(block, 0)
        expect(page.locator("#run")).to_have_text(run.name)
        expect(page.locator("#words")).to_have_text("Recording.")
        expect(page.locator("#step")).to_have_text("1 of 4: rinse")
        expect(page.locator("#speed")).to_have_text(re.compile("^4(49|50|51)$"))
        expect(page.locator("#left")).to_have_text("0:19")
        expect(page.locator("#count")).to_contain_text("0 counted of 1 attempted")
        expect(page.get_by_text("SIMULATED").last).to_be_visible()
        expect(page.get_by_role("img", name="Head L")).to_be_in_viewport()
        expect(page.locator("#readings")).to_contain_text("L/min")

        for block in blocks[120:400]:
            journal.append_block(block, 0)
        expect(page.locator("#step")).to_have_text("3 of 4: fast dry")
        expect(page.locator("#speed")).to_have_text(re.compile("^17(49|50|51)$"))

        long_ago = (utc_now() - timedelta(seconds=9)).timestamp()
        os.utime(journal.path, (long_ago, long_ago))
        expect(page.locator("#words")).to_have_text("No data")
        expect(page.locator("#age")).to_contain_text("since")

        journal.append_block(blocks[400], 0)
        expect(page.locator("#words")).to_have_text("Recording.")
        journal.close(Ending.COMPLETE, 0)
    expect(page.locator("#words")).to_have_text("The recording has ended: complete.")
    page.get_by_role("link", name=f"Open run {run.name}").click()

    expect(page.get_by_role("heading", name=f"Run {run.name}")).to_be_visible()


def test_the_shop_points_to_what_is_recorded_now(page: Page, shop: Bench, served_shop: str):
    run = shop.start()
    with JournalWriter(shop.journal(run), shop.opening(run), 0):
        page.goto(served_shop)
        expect(page.get_by_role("heading", name="Recording now")).to_be_visible()
        page.get_by_role("link", name=run.name).click()

        expect(page.locator("#run")).to_have_text(run.name)


def test_a_server_that_falls_silent_is_said_on_the_page(page: Page, shop: Bench, served_shop: str):
    run = shop.start()
    with JournalWriter(shop.journal(run), shop.opening(run), 0):
        page.clock.install()
        page.goto(f"{served_shop}/live/{HEAD}")
        expect(page.locator("#words")).to_have_text("Recording.")
        page.route("**/api/**", lambda route: route.abort())
        page.evaluate("window.stop()")
        page.clock.fast_forward(8000)

        expect(page.locator("#words")).to_contain_text("server does not answer")
