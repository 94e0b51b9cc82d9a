"""``spinproof owner``: a password from the console."""

from pathlib import Path

import pytest
import typer
from tests.cli.command import Commands

from spinproof.app.home import open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.people import FrontDesk

WORD = "four plain words here"


def test_the_owner_gets_a_password_that_is_never_printed(
    spinproof: Commands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: WORD)
    said = spinproof("owner", "OW-1", "--home", tmp_path)
    ledger = open_shop_ledger(open_home(tmp_path))
    people = FrontDesk(ledger).people()
    ledger.close()

    assert said.status == 0
    assert WORD not in said.out + said.error
    assert [(p.name, p.password_since is not None) for p in people] == [("OW-1", True)]


def test_a_password_that_is_too_short_is_refused_in_words(
    spinproof: Commands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: "short")
    said = spinproof.refused("owner", "OW-1", "--home", tmp_path)

    assert "5 characters" in said.error
