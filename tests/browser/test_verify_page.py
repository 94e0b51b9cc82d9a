"""verify.html from disk, in a browser without a network: it says what `spinproof verify` says."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.dossier.handover_example import (
    KEY_MADE_AT,
    PASSPHRASE,
    example,
    small_example,
    write_example,
)
from tests.forged.conftest import sign_anew

from spinproof.dossier.findings import FindingKind
from spinproof.dossier.key_list import KEYS_FILE, read_key_list
from spinproof.dossier.keys import create_key
from spinproof.dossier.sums import read_list, write_list
from spinproof.dossier.verification import verify_package

pytestmark = pytest.mark.browser
RUN = "runs/QA-1041-L-024.parquet"
LEFT_TO_OTHERS = {
    (FindingKind.ODD_ENTRY, "judgements"),
    (FindingKind.BAD_SIGNATURE, "dossier.pdf"),
}
"""What the page says it cannot see: empty folders, and the signature inside the document."""
JUDGEMENT = "judgements/QA-1041-L-024.json"


@pytest.fixture(scope="module")
def smallest(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_example(small_example(), tmp_path_factory.mktemp("small"))[0]


@pytest.fixture
def package(smallest: Path, tmp_path: Path) -> Path:
    return shutil.copytree(smallest, tmp_path / "package")


@pytest.fixture
def offline(chromium: Browser) -> Iterator[Page]:
    context = chromium.new_context(offline=True, viewport={"width": 1000, "height": 900})
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
    page.on("request", lambda request: asked.append(request.url))
    yield page
    context.close()
    assert said == []
    assert all(url.startswith("file:") for url in asked)


def checked(page: Page, folder: Path, told: str = "", trusted: Path | None = None) -> str:
    """Let the page of a trusted package check a folder, and give what it says."""
    page.goto(((trusted or folder) / "verify.html").as_uri())
    page.fill("#told", told)
    page.set_input_files("#folder", folder)
    page.wait_for_selector("body[data-done]")
    return page.inner_text("main")


def swap(package: Path) -> None:
    one, other = package / RUN, package / JUDGEMENT
    first, second = one.read_bytes(), other.read_bytes()
    one.write_bytes(second)
    other.write_bytes(first)


def flip(name: str) -> Callable[[Path], None]:
    def broken(package: Path) -> None:
        data = bytearray((package / name).read_bytes())
        data[len(data) // 2] ^= 1
        (package / name).write_bytes(bytes(data))

    return broken


def drop_line(package: Path) -> None:
    sums = dict(read_list((package / "SHA256SUMS").read_bytes()).sums)
    del sums[RUN]
    (package / "SHA256SUMS").write_bytes(write_list(sums))


def sign_by_another(package: Path) -> None:
    key = create_key(
        package.parent / "forger", "Quillmere Spindle & Bowl Works", KEY_MADE_AT, PASSPHRASE
    )
    flip("dossier.pdf")(package)
    sign_anew(package, key)


BROKEN: dict[str, Callable[[Path], object]] = {
    "a changed trace": flip(RUN),
    "a changed dossier": flip("dossier.pdf"),
    "a changed list": flip("SHA256SUMS"),
    "a changed signature": flip("SHA256SUMS.sig"),
    "a changed certificate": flip("release-cert.pem"),
    "an added file": lambda p: (p / "runs" / "more.parquet").write_bytes(b"more"),
    "a removed file": lambda p: (p / JUDGEMENT).unlink(),
    "a removed list": lambda p: (p / "SHA256SUMS").unlink(),
    "a renamed file": lambda p: (p / RUN).rename(p / "runs" / "other.parquet"),
    "two files swapped": swap,
    "a dropped line": drop_line,
    "a package signed by another": sign_by_another,
}


def test_a_whole_package_is_verified_against_the_fingerprint(offline: Page, package: Path):
    fingerprint = verify_package(package).fingerprint
    said = checked(offline, package, fingerprint or "")

    assert "✓ Verified" in said
    assert "verified against the fingerprint that was given" in said
    assert "SIMULATED" in said


def test_the_root_key_s_fingerprint_stands_for_the_release_key(offline: Page, package: Path):
    root = read_key_list((package / KEYS_FILE).read_bytes(), KEYS_FILE).root_fingerprint
    said = checked(offline, package, root)

    assert "✗" not in said
    assert "KEYS.json, number 1, names the release key and does not end it before" in said


def test_without_a_fingerprint_it_says_what_that_shows(offline: Page, package: Path):
    said = checked(offline, package)

    assert "verified against the key inside the package only" in said
    assert "A forger can sign" in said


@pytest.mark.parametrize("how", sorted(BROKEN))
def test_what_was_broken_is_named_as_by_the_command(
    offline: Page, package: Path, smallest: Path, how: str
):
    told = verify_package(smallest).fingerprint or ""
    BROKEN[how](package)
    result = verify_package(package, told)
    said = checked(offline, package, told, trusted=smallest)

    assert not result.ok
    assert "✗ Not verified" in said
    for finding in result.findings:
        if (finding.kind, finding.file) not in LEFT_TO_OTHERS:
            assert f"{finding.kind.value}: {finding.file}: " in said


def test_a_fingerprint_that_is_none_is_refused(offline: Page, package: Path):
    offline.goto((package / "verify.html").as_uri())
    offline.fill("#told", "6AE5")
    offline.set_input_files("#folder", package)

    offline.wait_for_selector("text=4 characters are no fingerprint")


def test_a_folder_that_is_no_package_is_refused(offline: Page, package: Path, tmp_path: Path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.txt").write_text("one")
    offline.goto((package / "verify.html").as_uri())
    offline.set_input_files("#folder", tmp_path / "photos")

    offline.wait_for_selector("text=The folder is no package")


def test_the_whole_demo_shows_its_runs_and_curves(
    offline: Page, tmp_path_factory: pytest.TempPathFactory
):
    package = write_example(example(), tmp_path_factory.mktemp("whole"))[0]
    said = checked(offline, package)
    offline.get_by_label("show the curves of QA-1041-L-023").click()
    offline.wait_for_selector("#curves svg")

    assert "79 attempts" in said or "Attempts 79" in said
    assert "Excluded by the customer" in said
    assert offline.locator("#curves svg path").count() >= 1
