"""First visit, account, and signing in, on a screen of a tablet."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from tests.web.running import served
from tests.web.staff import QUICK, WORD

from spinproof.app.home import Home, open_home

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]
SMALLEST_TARGET = 48.0


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return open_home(tmp_path)


@contextmanager
def opened(home: Home) -> Iterator[str]:
    with served(home, passwords=QUICK) as address:
        yield address


def visit_first(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Your name or role code").fill("OW-1")
    page.get_by_role("button", name="Open the shop").click()


def set_password(page: Page) -> None:
    page.get_by_role("link", name="OW-1, owner at this machine").click()
    page.get_by_label("New password").fill(WORD)
    page.get_by_label("The same again").fill(WORD)
    page.get_by_role("button", name="Set the password").click()


def sign_in(page: Page) -> None:
    page.get_by_label("Name or role code").fill("ow-1")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").click()


def test_the_first_visit_asks_a_name_and_opens_the_shop(page: Page, home: Home):
    with opened(home) as address:
        visit_first(page, address)

        expect(page.get_by_role("heading", name="Jobs")).to_be_visible()
        expect(page.get_by_role("link", name="OW-1, owner at this machine")).to_be_visible()


def test_with_a_password_set_the_machine_asks_for_it(page: Page, home: Home):
    with opened(home) as address:
        visit_first(page, address)
        set_password(page)
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        page.goto(f"{address}dossiers")
        sign_in(page)

        expect(page).to_have_url(f"{address}dossiers")
        page.get_by_role("link", name="OW-1, owner").click()
        page.get_by_role("button", name="Sign out", exact=True).click()
        page.goto(f"{address}dossiers")
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


def test_a_wrong_password_leaves_the_name_and_says_what_to_do(context: BrowserContext, home: Home):
    page = context.new_page()  # the browser itself complains about the answer 401
    with opened(home) as address:
        visit_first(page, address)
        set_password(page)
        page.get_by_label("Name or role code").fill("OW-1")
        page.get_by_label("Password").fill("something else")
        page.get_by_role("button", name="Sign in").click()

        expect(page.get_by_role("alert")).to_contain_text("do not belong together")
        expect(page.get_by_label("Name or role code")).to_have_value("OW-1")
        expect(page.get_by_label("Password")).to_have_value("")


def test_a_tablet_is_enrolled_and_a_person_added_by_touch(page: Page, home: Home):
    with opened(home) as address:
        visit_first(page, address)
        page.goto(f"{address}people")
        page.get_by_label("What is written on this device").fill("bench tablet 1")
        page.get_by_role("button", name="Make this device").click()
        expect(page.get_by_text("This device is the tablet bench tablet 1.")).to_be_visible()

        page.get_by_label("Name or role code").fill("TT-1")
        page.get_by_label("Role", exact=True).first.select_option("technician")
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_role("rowheader", name="TT-1")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_pages_of_people_pass_the_accessibility_scan(
    page: Page, home: Home, axe: str, theme: str
):
    with opened(home) as address:
        page.emulate_media(color_scheme=theme)
        page.goto(address)
        findings = scan(page, axe)
        visit_first(page, address)
        for path in ("account", "people"):
            page.goto(f"{address}{path}")
            findings += scan(page, axe)
        page.goto(f"{address}account")
        set_password(page)
        findings += scan(page, axe)

    assert findings == []


def scan(page: Page, axe: str) -> list[str]:
    page.wait_for_load_state()
    page.locator("body > footer").wait_for()  # the last element: the page is whole
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{page.url} {v['id']}: {v['nodes'][0]['html']}" for v in found["violations"]]


@pytest.mark.parametrize("width", [360, 1180])
def test_every_target_of_a_form_is_large_enough_for_a_glove(page: Page, home: Home, width: int):
    small: list[str] = []
    with opened(home) as address:
        page.set_viewport_size({"width": width, "height": 800})
        visit_first(page, address)
        for path in ("account", "people", "sign-in"):
            page.goto(f"{address}{path}")
            targets = page.locator("input:not([type=hidden]), select, button, summary, main a")
            for target in targets.all():
                box = target.bounding_box()
                if box and box["height"] < SMALLEST_TARGET:
                    small.append(f"{path}: {target.evaluate('e => e.outerHTML')} {box['height']}")
            over = page.evaluate("document.documentElement.scrollWidth > innerWidth")
            small += [f"{path} is wider than the screen"] * over

    assert small == []
