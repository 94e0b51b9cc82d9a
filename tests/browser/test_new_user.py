"""A new user, with the README alone: from a fresh home folder to a wet test that is refused.

The walk goes by the words that stand on the pages. It counts what a person would press and type,
so that the way does not grow unseen.
"""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Locator, Page, expect
from tests.web.running import served
from tests.web.staff import QUICK
from typer.testing import CliRunner

from spinproof.app.clock import utc_now
from spinproof.app.home import Home, open_home
from spinproof.cli.main import app

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

HEAD = "QM-207-L"
MOST_CLICKS, MOST_FIELDS, MOST_KEYS = 250, 195, 1600
"""What the walk may ask of a person, cells of spreadsheets included."""
OWNER, INSPECTOR = "OW-1", "QI-2"
OWN_WORD, OTHER_WORD = "river lamp cobalt nine", "seven quiet brass doors"

FOUND = {
    "largest bonding resistance": "0.05",
    "lowest insulation resistance": "50",
    "nitrogen heater, resistance": "72",
    "nitrogen heater, deviation from its plate": "-0.2",
    "nitrogen heater, insulation": "40",
    "bowl heater, deviation from its plate": "1.5",
    "bowl heater, insulation": "45",
    "mains voltage": "207",
    "mains voltage, deviation from the nameplate": "-0.5",
    "mains frequency": "60",
    "control voltages, largest deviation": "1.2",
    "ripple of the control supply": "20",
    "gap at which channel 1 opens": "2",
    "gap at which channel 2 opens": "2.2",
    "time until rest, mean of three": "14",
    "time until rest, spread of three": "0.6",
    "hub, radial": "0.02",
    "smallest clearance": "4.5",
    "frequency of the span": "58",
    "tension, deviation from its target": "2",
    "gap": "1.2",
    "gap, deviation from its setting": "0.02",
    "torque of the lock-nut": "8",
    "amplitude at 60 rpm, in parts of the threshold": "400",
    "home angle, by hand": "0.2",
    "home angle, by air": "0.3",
    "time to extend": "0.9",
    "closing force": "35",
    "variation of the gap": "0.2",
    "battery voltage": "3.3",
    "clock, ahead of the shop's": "4",
    "largest difference from the optical tach": "0.5",
    "largest Ra": "0.3",
}
"""What the walk reads off the instruments; runouts are 0.08 mm, and each text is short."""
WORKED_OUT = {
    "time until rest, spread of three",
    "amplitude at 60 rpm, in parts of the threshold",
    "largest difference from the optical tach",
}
"""Readings that are worked out, besides deviations: their uncertainty is typed as well."""
SAID = {
    "part with the largest value",
    "place of the smallest clearance",
    "cassette used, with its measured sizes",
    "stop category",
    "program and checksum",
}
"""Readings that words answer."""
BY_SHEET = re.compile("^Next: D-(02|07|10)")
"""Where several checks may be made: their readings come by a sheet, the others by the pages."""
SPANS = {"mV": 500, "um": 25, "Hz": 200, "deg": 90, "N": 100, "N.m": 20, "MOhm": 1000, "V": 300}
"""Upper ends of the instruments' ranges; 100 for the other units."""


@dataclass
class Hand:
    """A person at the tablet: what they press and type is counted."""

    page: Page
    folder: Path
    marks: dict[str, str] = field(default_factory=dict)
    taken: int = 0
    clicks: int = 0
    fields: int = 0
    keys: int = 0

    def press(self, name: str | re.Pattern[str], within: Locator | None = None) -> None:
        """Press a button."""
        self.clicks += 1
        (within or self.page).get_by_role("button", name=name).first.click()

    def follow(self, name: str | re.Pattern[str]) -> None:
        """Follow a link."""
        self.clicks += 1
        self.page.get_by_role("link", name=name).first.click()

    def open(self, words: str | re.Pattern[str]) -> None:
        """Open what is folded."""
        self.clicks += 1
        self.page.locator("summary").filter(has_text=words).first.click()

    def type(self, label: str, text: str, within: Locator | None = None) -> None:
        """Type into a field."""
        self.fields += 1
        self.keys += len(text)
        (within or self.page).get_by_label(label, exact=True).locator("visible=true").fill(text)

    def choose(self, label: str, word: str) -> None:
        """Choose from a list."""
        self.clicks += 2
        self.page.get_by_label(label, exact=True).select_option(word)

    def hand_over(self, label: str, file: Path) -> None:
        """Choose a file."""
        self.clicks += 3
        self.page.get_by_label(label, exact=True).set_input_files(file)

    def photograph(self, label: str) -> None:
        """Take a photograph; no two are alike."""
        self.taken += 1
        file = self.folder / f"photo-{self.taken}.png"
        Image.new("RGB", (60, 40), (self.taken, 90, 120)).save(file)
        self.hand_over(label, file)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return open_home(tmp_path / "shop")


@pytest.fixture
def hand(page: Page, home: Home, tmp_path: Path) -> Iterator[Hand]:
    with served(home, passwords=QUICK) as address:
        page.goto(address)
        yield Hand(page, tmp_path)


def test_from_a_fresh_home_to_a_passed_dry_test_and_a_refused_wet_test(hand: Hand, home: Home):
    take_the_machine_in(hand)
    agree_the_scope(hand)
    pass_the_incoming_inspection(hand)
    tear_down_restore_and_build(hand)
    bring_the_instruments(hand)
    state_the_limit_of_the_head(hand)
    make_the_dry_test(hand)

    expect(hand.page.get_by_role("heading", name="Why it cannot be signed yet")).to_be_visible()
    expect(hand.page.get_by_text("25 checks have not been made")).to_be_visible()
    expect(hand.page.get_by_role("button", name="Send this answer")).to_have_count(0)
    said = CliRunner().invoke(app, ["why", HEAD, "wet test", "--home", str(home.root)])
    assert "25 checks have not been made" in said.output
    assert hand.clicks <= MOST_CLICKS
    assert hand.fields <= MOST_FIELDS
    assert hand.keys <= MOST_KEYS


def take_the_machine_in(hand: Hand) -> None:
    hand.type("Your name or role code", OWNER)
    hand.press("Open the shop")
    hand.follow("Take a machine in")
    for label, text in (
        ("The shop's number of the job", "QA-1041"),
        ("The order, as it may be printed", "PO 40-7716Q"),
        ("Your shop, as it prints", "Quillmere Spindle & Bowl Works"),
        ("Serial of the machine", "QM-207"),
        ("What the heads share: its designation", "QM-207-S"),
        ("Serial of the head", HEAD),
        ("Where it sits", "lower"),
        ("The head in words", "200 mm, on-axis, one cassette"),
    ):
        hand.type(label, text)
    hand.press("Take it in, then the scope")


def agree_the_scope(hand: Hand) -> None:
    expect(hand.page.get_by_role("heading", name="Excluded from this job: 7")).to_be_visible()
    hand.press("All without an answer: accepted")
    hand.choose("Answer to SC-04", "declined")
    hand.type("What follows from SC-04", "The door seal stays as received.")
    hand.type("The letter or message that says so", "message 12")
    hand.press("Record the answers")
    expect(hand.page.get_by_role("heading", name="Excluded from this job: 1")).to_be_visible()
    hand.follow(f"Next: the gates of {HEAD}")


def pass_the_incoming_inspection(hand: Hand) -> None:
    hand.follow("Wet test")
    expect(hand.page.get_by_text("Not passed yet: incoming inspection, teardown")).to_be_visible()
    hand.follow("Gates")
    hand.follow("Next: state the decontamination")
    hand.choose("Cleared: it may be worked on, or sent", "yes")
    hand.type("Who says that no hazard is known", OWNER)
    hand.type("How it was decided", "declaration, wipe test")
    hand.type("What stands behind it", "paper in the crate")
    hand.press("State it")
    hand.follow("Next: incoming inspection")
    hand.follow("Add a photograph")
    hand.photograph("File")
    hand.type("What it shows", "nameplate")
    hand.press("Add it")
    sign(hand, "performed")

    expect(hand.page.get_by_text("Nobody else is on record who may verify it.")).to_be_visible()
    hand.follow("Add the second person")
    for label in ("Your new password", "Your password again"):
        hand.type(label, OWN_WORD)
    hand.type("Their name or role code", INSPECTOR)
    for label in ("Their password", "Their password again"):
        hand.type(label, OTHER_WORD)
    hand.press("Put them on record, and go on")
    sign(hand, "verified", OTHER_WORD)


def sign(hand: Hand, meaning: str, word: str = "") -> None:
    """Sign a gate; who signs stands there already."""
    hand.clicks += 1
    hand.page.get_by_label(re.compile(f"^I {meaning}")).check()
    if word:
        hand.type("Password", word)
    hand.press("Send this answer")


def sign_twice(hand: Hand, following: str) -> None:
    sign(hand, "performed", OWN_WORD)
    sign(hand, "verified", OTHER_WORD)
    hand.follow(f"Next: {following}")


def lock_out(hand: Hand, work: str) -> None:
    hand.follow("Lockouts")
    hand.open("Put a lockout on record")
    hand.type("Where hands reach", "bowl and cabinet")
    for energy in (
        "Electrical",
        "Rotor motion",
        "Nitrogen",
        "Compressed air",
        "DI water",
        "Heater heat",
        "Gravity",
    ):
        hand.choose(energy, "locked")
    hand.type("Reading that shows it gone", "0 V, gauges at 0 bar")
    hand.type("For what work", work)
    hand.press("Record the lockout")


def tear_down_restore_and_build(hand: Hand) -> None:
    hand.follow("Next: teardown")
    lock_out(hand, "teardown")
    hand.follow("All in one table")
    hand.press("All without an answer: sits here as received")
    hand.choose("What is so at ION", "nothing sits here")
    hand.type("Serial of ION, or why nothing sits there", "built without it")
    hand.type("How it was seen, or what was done", "opened and looked at")
    hand.press("Take all answers in")
    expect(hand.page.get_by_role("status")).to_contain_text("35 positions answered.")
    hand.follow("Next: the gates")
    hand.follow("Teardown")
    sign_twice(hand, "restoration")
    sign_twice(hand, "build")
    sign_twice(hand, "dry test")


def bring_the_instruments(hand: Hand) -> None:
    hand.follow("Instruments by a spreadsheet")
    rows = download(hand, "Instruments that are missing")
    today = utc_now().date()
    for number, row in enumerate(rows, 1):
        row["mark"] = f"IN-{number}"
        hand.marks[row["kind"]] = row["mark"]
        row["calibrated"] = str(today - timedelta(days=90))
        row["due"] = str(today + timedelta(days=200))
        row["certificate"] = f"C-{number}"
        for end in ("", " 2", " 3"):
            if unit := row[f"unit{end}"]:
                top = SPANS.get(unit, 100)
                row |= {f"from{end}": "-10", f"to{end}": str(top), f"step{end}": "0.001"}
                row[f"uncertainty{end}"] = "0.001"
    bring_in(hand, "instruments", rows)
    hand.follow(f"Gates of {HEAD}")


def download(hand: Hand, link: str) -> list[dict[str, str]]:
    hand.clicks += 1
    with hand.page.expect_download() as waiting:
        hand.page.get_by_role("link", name=link).first.click()
    return list(csv.DictReader(io.StringIO(waiting.value.path().read_text("utf-8-sig"))))


def bring_in(hand: Hand, kind: str, rows: list[dict[str, str]]) -> None:
    """Save the filled sheet and take it in."""
    file = hand.folder / f"{kind}-{len(rows)}.csv"
    with file.open("w", newline="", encoding="utf-8") as out:
        sheet = csv.DictWriter(out, list(rows[0]))
        sheet.writeheader()
        sheet.writerows(rows)
    hand.fields += (typed := 7 * len(rows) if kind == "instruments" else len(rows))
    hand.keys += 6 * typed
    hand.choose("What the rows are", kind)
    hand.hand_over("File", file)
    hand.press("Show what it would do")
    hand.press(re.compile("^Take (all|the row)"))
    expect(hand.page.get_by_role("status")).to_contain_text("taken in.")


def state_the_limit_of_the_head(hand: Hand) -> None:
    hand.follow("Dry test")
    hand.follow("State a limit")
    form = hand.page.locator("#agreed-limit")
    expect(form.get_by_label("Reading, and the unit of its limit")).to_have_value(
        re.compile("^D-14, torque of the lock-nut")
    )
    hand.type("At most", "10", form)
    hand.type("Standard with its edition, letter or shop rule", "drawing of the head", form)
    hand.type("Why it was agreed", "number of this head", form)
    hand.press("State it", form)
    hand.follow("Next: dry test")


def make_the_dry_test(hand: Hand) -> None:
    go_on(hand)
    make_checks(hand)
    expect(hand.page.get_by_text("LCK-01 locks the mains and is not removed").first).to_be_visible()
    hand.follow("Lockouts")
    hand.open("Take QA-1041-LCK-01 off")
    hand.type("Who is out, what is closed again", "all hands out, guards back")
    hand.press("Record that QA-1041-LCK-01 is off")
    hand.follow("Gates and checks")
    go_on(hand)
    make_checks(hand)
    sign_twice(hand, "wet test")


def make_checks(hand: Hand) -> None:
    """Make one check after the other, until none may be made now."""
    result = hand.page.locator("#result")
    while True:
        make_check(hand)
        expect(result.get_by_role("heading", name="Result")).to_be_visible()
        if result.get_by_role("link", name="To the dry test").count():
            hand.follow("To the dry test")
            return
        if result.get_by_role("link", name=BY_SHEET).count():
            hand.follow("All checks of the dry test")
            bring_readings(hand)
        go_on(hand)


def go_on(hand: Hand) -> None:
    """Follow the link to the check that may be made next."""
    link = hand.page.get_by_role("link", name=re.compile("^Next: D-")).first
    check = link.inner_text()[6:10]
    hand.follow(re.compile("^Next: D-"))
    heading = hand.page.get_by_role("heading", level=1, name=re.compile(f"^{check}"))
    expect(heading).to_be_visible()


def bring_readings(hand: Hand) -> None:
    """Fill the open readings into a sheet, as from the paper of the bench, and take it in."""
    hand.follow("Readings by a spreadsheet")
    rows = download(hand, f"Measurements of {HEAD}")
    for row in rows:
        number = FOUND.get(row["reading"], "0.08")
        row["value"] = number if row["unit"] else ("as drawn" if row["reading"] in SAID else "yes")
        if "deviation" in row["reading"] or row["reading"] in WORKED_OUT:
            row["uncertainty"] = "0.01"
        if row["unit"] and not row["instrument"]:
            row["instrument"] = hand.marks["multimeter"]
    bring_in(hand, "measurements", rows)
    hand.follow(f"Gates of {HEAD}")


def make_check(hand: Hand) -> None:
    cards = hand.page.locator("section.reading")
    for place in range(cards.count()):
        card = hand.page.locator(f"#reading-{place + 1}")
        if not card.locator(".value").count():
            answer(hand, card)
    evidence = hand.page.get_by_text(re.compile("^It leaves behind: "))
    if evidence.count():
        words = evidence.inner_text().removeprefix("It leaves behind: ").partition(".")[0]
        for place, kind in enumerate(words.split(", ")):
            if place:
                hand.open("Add a file as evidence")
            hand.photograph("File")
            if hand.page.get_by_label("It is a", exact=True).input_value() != kind:
                hand.choose("It is a", kind)
            hand.press("Add it")
            held = hand.page.get_by_role("checkbox", checked=True)
            expect(held).to_have_count(place + 1)
    hand.press(re.compile("^Call D-.. finished"))


def answer(hand: Hand, card: Locator) -> None:
    name = card.locator("h2").inner_text().partition(". ")[2]
    given = FOUND.get(name[:1].lower() + name[1:], "0.08")
    if card.get_by_role("button", name="Yes").count():
        hand.press("Yes", card)
    elif card.locator("[data-number]").count():
        hand.fields += 1
        hand.keys += len(given)
        card.locator("[data-number]").fill(given)
        if card.get_by_label("Its standard uncertainty").count():
            hand.type("Its standard uncertainty", "0.01", card)
        instrument = card.get_by_label("Instrument", exact=True)
        if not instrument.input_value():
            hand.clicks += 2
            instrument.select_option(index=1)
        hand.press(re.compile("^Store"), card)
    else:
        hand.type(name, "as drawn", card)
        hand.press("Store", card)
    expect(card.locator(".value")).to_be_visible()
