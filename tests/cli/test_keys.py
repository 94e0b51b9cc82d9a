"""``spinproof keys``: fingerprints for paper, the next key, a passphrase of one's own."""

import pytest
import typer
from tests.cli.command import Commands
from tests.shop import open_shop

from spinproof.app.home import Home
from spinproof.app.shop_keys import signing_keys

SHOP = "Quillmere Spindle & Bowl Works"
OWN = "four words of an invented owner"


@pytest.fixture
def home(tmp_path) -> Home:
    shop = open_shop(tmp_path / "home")
    shop.ledger.close()
    signing_keys(shop.home, SHOP)
    return shop.home


def test_the_fingerprints_are_told_for_paper(spinproof: Commands, home: Home):
    said = spinproof("keys", "show", "--home", home.root)

    assert said.status == 0
    assert signing_keys(home, SHOP).release.fingerprint in said.out
    assert "root key" in said.out


def test_a_stolen_key_ends_and_the_next_one_is_told(spinproof: Commands, home: Home):
    before = signing_keys(home, SHOP).release.fingerprint
    said = spinproof("keys", "renew", "--home", home.root, "--why", "stolen")

    assert said.status == 0
    assert "list number 2" in said.out
    assert before not in said.out


def test_another_reason_is_refused_with_those_that_there_are(spinproof: Commands, home: Home):
    said = spinproof.refused("keys", "renew", "--home", home.root, "--why", "bored")

    assert "replaced, lost, stolen" in said.error


def test_a_passphrase_file_opens_protected_keys(
    spinproof: Commands, home: Home, tmp_path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: OWN)
    assert spinproof("keys", "protect", "--home", home.root).status == 0
    refused = spinproof.refused("keys", "renew", "--home", home.root)
    words = tmp_path / "words"
    words.write_text(OWN + "\n", encoding="utf-8")
    renewed = spinproof("keys", "renew", "--home", home.root, "--passphrase-file", words)

    assert "no passphrase was given" in refused.error
    assert renewed.status == 0
