"""The page of dossiers: each package verified when the page is asked for."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import httpx
from tests.web.running import served
from tests.web.seed import Bench, empty_bench

from spinproof.app.home import Home, open_home
from spinproof.app.packages import packages
from spinproof.dossier.keys import create_key

NAME = "QA-1041-QM-207-L"


def copy_of(bench: Bench, folder: Path) -> Home:
    other = empty_bench(folder / "home")
    other.ledger.close()
    home = other.home
    shutil.copytree(bench.home.dossiers, home.dossiers, dirs_exist_ok=True)
    shutil.copytree(bench.home.keys, home.keys, dirs_exist_ok=True)
    return home


def test_a_package_verifies_against_the_shops_own_certificate(client: httpx.Client):
    text = client.get("/dossiers").text

    assert NAME in text
    assert "<span>yes</span>" in text
    assert "Verified against this shop&#39;s own certificate" in text


def test_the_document_can_be_taken(client: httpx.Client):
    answer = client.get(f"/dossiers/{NAME}/document")

    assert answer.headers["content-type"] == "application/pdf"
    assert "attachment" in answer.headers["content-disposition"]
    assert answer.content.startswith(b"%PDF")


def test_a_changed_package_is_named_and_its_document_is_not_given(bench: Bench, tmp_path: Path):
    home = copy_of(bench, tmp_path)
    changed = home.dossiers / NAME / "dossier.pdf"
    changed.write_bytes(changed.read_bytes() + b" ")

    with served(home) as address:
        text = httpx.get(f"{address}dossiers").text
        document = httpx.get(f"{address}dossiers/{NAME}/document")

    assert "<span>no</span>" in text
    assert "dossier.pdf" in text
    assert document.status_code == 404


def test_a_package_of_another_shop_does_not_verify_here(bench: Bench, tmp_path: Path):
    home = copy_of(bench, tmp_path)
    other = open_home(tmp_path / "other")
    create_key(other.keys, "Other Works", datetime(2031, 5, 6, tzinfo=UTC), "a passphrase")
    shutil.copytree(other.keys, home.keys, dirs_exist_ok=True)

    found = packages(home)[0]

    assert not found.verified
    assert any("fingerprint" in finding for finding in found.findings)


def test_without_a_certificate_of_its_own_the_page_says_what_it_compared(
    bench: Bench, tmp_path: Path
):
    home = copy_of(bench, tmp_path)
    shutil.rmtree(home.keys)

    assert packages(home)[0].trust == "verified against the key inside the package only"


def test_a_folder_that_is_no_package_says_so(tmp_path: Path):
    shop = empty_bench(tmp_path)
    shop.ledger.close()
    home = shop.home
    (home.dossiers / "notes").mkdir()
    (home.dossiers / ".being-built").mkdir()

    (found,) = packages(home)

    assert found.name == "notes"
    assert not found.verified
    assert found.findings
    assert str(home.root) not in " ".join(found.findings)
