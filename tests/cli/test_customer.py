"""``spinproof customer``: asked for at the prompt, shown to those who may."""

from pathlib import Path

import pytest
import typer
from tests.cli.command import Commands
from tests.shop import open_shop

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk
from spinproof.model.access import Role

WHO = ["OTTER", "Glimmerbach Photonics", "", "hanna@glimmerbach.example", "", "", ""]


@pytest.fixture
def home(tmp_path: Path) -> Path:
    shop = open_shop(tmp_path / "home")
    people = FrontDesk(shop.ledger)
    people.first_owner("OW-1", utc_now())
    people.add_person("TT-1", Role.TECHNICIAN, "OW-1", utc_now())
    shop.ledger.close()
    return shop.home.root


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Give the list of what is typed at the prompts, in order."""
    typed: list[str] = []
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: typed.pop(0))
    return typed


def test_a_customer_is_entered_looked_at_and_changed(
    spinproof: Commands, home: Path, answers: list[str]
):
    at = ("QA-1041", "--home", home, "--by", "OW-1")
    answers += WHO
    entered = spinproof("customer", "enter", *at)
    seen = spinproof("customer", "look", *at, "--for", "to ship or to invoice")
    answers += ["OTTER", "Talwind Optics", "", "", "", ""]
    changed = spinproof("customer", "change", *at)
    again = spinproof("customer", "look", *at)

    assert (entered.status, changed.status) == (0, 0), entered.error + changed.error
    assert "Glimmerbach" not in entered.out
    assert "names: Glimmerbach Photonics" in seen.out
    assert "contacts: hanna@glimmerbach.example" in seen.out
    assert "names: Talwind Optics" in again.out
    assert "Glimmerbach" not in again.out


def test_a_technician_is_refused(spinproof: Commands, home: Path, answers: list[str]):
    answers += WHO
    spinproof("customer", "enter", "QA-1041", "--home", home, "--by", "OW-1")

    said = spinproof.refused("customer", "look", "QA-1041", "--home", home, "--by", "TT-1")

    assert "owner alone" in said.error
    assert "Glimmerbach" not in said.error
