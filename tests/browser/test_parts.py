"""Parts on a tablet: the scope, the drawing, a tag with a slip, a spreadsheet with a bad row."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Watched
from tests.browser.test_pages import SERIOUS
from tests.web.parts_seed import NEW_SEAL, ROTOR, PartsShop, parts_shop
from tests.web.running import served
from tests.web.seed import HEAD

from spinproof.app.clock import utc_now
from spinproof.model.tag import tag_of

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

SCOPE = "/jobs/QA-1041/scope"
PATHS = (
    SCOPE,
    f"/positions/{HEAD}",
    f"/positions/{HEAD}/DSL",
    f"/positions/{HEAD}/WIN",
    f"/parts/{ROTOR}",
    "/jobs/QA-1041/parts",
    "/jobs/QA-1041/labels",
    "/find?q=seal",
    "/find?q=QM207LRTRO11",
    "/history",
    "/jobs/QA-1041/import",
    f"/as-found/{HEAD}",
    f"/heads/{HEAD}/gates/incoming-inspection",
    f"/heads/{HEAD}/matters",
    "/take-in",
    "/second-person",
)
CAMERA = """
window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["qr_code"]; }
  async detect() { return [{ rawValue: "%s" }]; }
};
navigator.mediaDevices.getUserMedia = async () => {
  const canvas = document.createElement("canvas");
  canvas.getContext("2d").fillRect(0, 0, 10, 10);
  return canvas.captureStream(5);
};
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("parts"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def address(shop: PartsShop) -> Iterator[str]:
    with served(shop.home) as opened:
        yield opened.rstrip("/")


@pytest.fixture
def refused(watched: Watched) -> Iterator[Page]:
    """Give a page on which a form is refused; the browser tells of that, and of nothing else."""
    yield watched.page
    assert watched.complaints
    assert all("status of 422" in said for said in watched.complaints), watched.complaints


def open_all(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")


def test_the_drawing_leads_to_a_position_and_its_part(page: Page, address: str):
    page.goto(f"{address}/heads/{HEAD}")
    page.get_by_role("link", name="Positions and parts").click()
    expect(page.get_by_text("Excluded from this job").first).to_be_visible()
    drawing = page.get_by_role("group", name=re.compile("Positions of QM-207-L"))
    expect(drawing).to_be_visible()
    page.get_by_role("link", name=re.compile("RTR, rotor")).click()

    expect(page.get_by_role("heading", name="Rotor RTR")).to_be_visible()
    expect(page.locator(".finding").get_by_text("crack beside a rotor bolt hole")).to_be_visible()
    page.get_by_role("link", name=ROTOR).first.click()
    expect(page.get_by_role("img", name=f"QR code of the tag {ROTOR}")).to_be_visible()


def test_a_tag_typed_with_one_wrong_character_is_asked_back_and_one_tap_mends_it(
    page: Page, address: str
):
    page.goto(f"{address}/positions/{HEAD}")
    field = page.get_by_label("Scan a tag, or search")
    field.fill(ROTOR.replace("01", "O1"))
    field.press("Enter")
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text(f"Is it {ROTOR}?")
    page.get_by_role("link", name=f"Yes, {ROTOR}").click()

    expect(page.get_by_role("heading", name=f"Part {ROTOR}")).to_be_visible()


def test_a_scanner_types_without_a_field_in_hand(page: Page, address: str):
    page.goto(f"{address}/positions/{HEAD}")
    page.keyboard.type(NEW_SEAL)
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", name=f"Part {NEW_SEAL}")).to_be_visible()


def test_the_camera_reads_a_tag_where_the_browser_can(page: Page, address: str):
    page.add_init_script(CAMERA % NEW_SEAL)
    page.goto(f"{address}/find")
    page.get_by_role("button", name="Scan with the camera").click()

    expect(page.get_by_role("heading", name=f"Part {NEW_SEAL}")).to_be_visible()


def test_a_declined_position_is_grey_hatched_and_refuses_another_part(refused: Page, address: str):
    page = refused
    page.goto(f"{address}/positions/{HEAD}/WIN")
    expect(page.get_by_role("heading", name="declined")).to_be_visible()
    expect(page.get_by_text("The window stays as received").last).to_be_visible()
    page.get_by_text("Replace the part (only the one that came from here)").click()
    page.get_by_label("Tag of the part that is fitted").fill(NEW_SEAL)
    page.get_by_label("What was done, and why").locator("visible=true").fill("try")
    page.get_by_role("button", name="Replace the part").click()

    expect(page.get_by_text("only the part that came from there may go back")).to_be_visible()
    expect(page.get_by_label("Tag of the part that is fitted")).to_have_value(NEW_SEAL)


def test_a_line_of_the_scope_changes_by_a_change_order_only(refused: Page, address: str):
    page = refused
    page.goto(address + SCOPE)
    expect(page.get_by_role("heading", name="Excluded from this job: 7")).to_be_in_viewport()
    line = page.get_by_role("group", name="Line SC-22")
    line.get_by_text("Change, and history").click()
    line.get_by_label("Why, or the letter that says so").fill("asked on the phone")
    line.get_by_role("button", name="Record it").click()

    line = page.get_by_role("group", name="Line SC-22")
    expect(line).to_contain_text("by an accepted change order alone")
    expect(line.get_by_label("Why, or the letter")).to_have_value("asked on the phone")


def test_a_sheet_with_one_bad_row_is_refused_and_the_mended_one_taken_in(
    page: Page, address: str, tmp_path: Path
):
    day = utc_now().strftime("%Y-%m-%d %H:%M")
    good, bad = tag_of("QM207LMOT01"), tag_of("QM207LVDI01").replace("01", "O1")
    head = "tag,head,position,provenance,installed\n"
    rows = {tag: f"{tag},{HEAD},{tag[6:9]},kept,{day}\n" for tag in (good, bad)}
    sheet = tmp_path / "parts.csv"
    page.goto(f"{address}/jobs/QA-1041/import")
    for content, words in (
        (head + rows[good] + rows[bad], "1 of 2 rows cannot be taken in, so none is."),
        (head + rows[good], "The row of parts can be taken in."),
    ):
        sheet.write_text(content)
        page.get_by_label("File").set_input_files(sheet)
        page.get_by_role("button", name="Show what it would do").click()
        expect(page.get_by_text(words)).to_be_visible()
        if bad in content:
            expect(page.locator("tr.wrong")).to_contain_text("The check character does not fit")
            expect(page.get_by_role("button", name=re.compile("^Take "))).to_have_count(0)
            page.get_by_role("link", name="Choose the file again").click()
    page.get_by_role("button", name=re.compile("^Take ")).click()

    expect(page.get_by_role("status")).to_contain_text("taken in")
    page.goto(f"{address}/positions/{HEAD}")
    expect(page.get_by_role("link", name=good, exact=True)).to_be_visible()


def test_labels_print_alone_on_their_sheet(page: Page, address: str):
    page.goto(f"{address}/jobs/QA-1041/labels?paper=letter")
    page.emulate_media(media="print")

    expect(page.get_by_role("img", name=f"QR code of the tag {ROTOR}")).to_be_visible()
    expect(page.locator(".top")).to_be_hidden()
    expect(page.locator("h1")).to_be_hidden()
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")


@pytest.mark.parametrize("path", PATHS)
def test_targets_are_large_and_nothing_scrolls_sideways(page: Page, address: str, path: str):
    page.goto(address + path)
    open_all(page)
    small = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, summary, input, select, textarea")]
            .filter((e) => e.type !== "hidden")
            .filter((e) => e.checkVisibility() && !e.matches(".skip"))
            .map((e) => [e.textContent.trim().slice(0, 40), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 47.9 || box.width < 47.9)
            .map(([text, box]) => `${text}: ${box.width} x ${box.height}`)"""
    )
    assert small == []
    page.set_viewport_size({"width": 320, "height": 700})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize("path", PATHS)
def test_axe_finds_nothing_serious_in_light_and_dark(page: Page, address: str, axe: str, path: str):
    page.goto(address + path)
    open_all(page)
    page.evaluate(axe)
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for width in (390, 1180):
            page.set_viewport_size({"width": width, "height": 900})
            result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            found += [
                (scheme, width, v["id"], [node["html"][:160] for node in v["nodes"][:3]])
                for v in result["violations"]
                if v["impact"] in SERIOUS
            ]

    assert found == []
