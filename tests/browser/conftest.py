"""The pages in a real browser: the system's Chromium, driven from here."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from tests.web.running import served
from tests.web.seed import HEAD, Bench, demo_bench

from spinproof.app.handing_over import issue_dossier

FLAGS = (
    "--no-sandbox",  # the tests may run as root
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
TABLET = {"width": 1180, "height": 820}


class Watched:
    """A page, and everything it did that a page of ours must not do."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: self.complaints.append(f"dialog {dialog.message}"))
        page.on(
            "console",
            lambda said: self.complaints.append(said.text) if said.type == "error" else None,
        )


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "no Chromium is installed; `make test` installs it"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = demo_bench(tmp_path_factory.mktemp("shop"))
    issue_dossier(made.home, made.ledger, HEAD)
    yield made
    made.ledger.close()


@pytest.fixture(scope="session")
def address(bench: Bench) -> Iterator[str]:
    with served(bench.home) as opened:
        yield opened.rstrip("/")


@pytest.fixture
def context(chromium: Browser) -> Iterator[BrowserContext]:
    opened = chromium.new_context(viewport=TABLET, reduced_motion="reduce")
    yield opened
    opened.close()


@pytest.fixture
def watched(context: BrowserContext) -> Watched:
    return Watched(context.new_page())


@pytest.fixture
def page(watched: Watched) -> Iterator[Page]:
    """Give a page that must not complain, nor ask another host."""
    yield watched.page
    assert watched.complaints == []
    assert all(url.startswith("http://127.0.0.1:") for url in watched.requests), watched.requests


@pytest.fixture(scope="session")
def axe() -> str:
    return (Path(__file__).parent / "vendor" / "axe.min.js").read_text()
