"""A file held as evidence by command, whatever its size."""

from pathlib import Path

import pytest
from tests.cli.command import Commands
from tests.ledger.floor import HEAD, START, Floor

from spinproof.app.home import Home, open_home
from spinproof.evidence import store
from spinproof.ledger.ledger import open_ledger


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = open_home(tmp_path / "home")
    ledger = open_ledger(made.ledger_url, at=START)
    Floor(ledger).take_in()
    ledger.close()
    return made


def a_film(path: Path, size: int) -> Path:
    """Make a film of two boxes with nothing in them, its bytes not even written."""
    head = (16).to_bytes(4) + b"ftypisom" + bytes(4)
    index = (8).to_bytes(4) + b"moov"
    rest = (size - len(head) - len(index)).to_bytes(4) + b"mdat"
    with path.open("wb") as file:
        file.write(head + index + rest)
        file.truncate(size)
    return path


def held(home: Home) -> list[str]:
    ledger = open_ledger(home.ledger_url, at=START)
    with ledger.reading() as records:
        names = [item.name for item in records.evidence("QA-1041")]
    ledger.close()
    return names


def test_a_film_larger_than_a_page_takes_comes_in_by_command(
    spinproof: Commands, home: Home, tmp_path: Path
):
    film = a_film(tmp_path / "witness.mp4", 70_000_000)

    said = spinproof(
        *("evidence", HEAD, "wet test", film, "--what", "the witnessed run"),
        *("--home", home.root, "--by", "TT-1"),
    )

    assert "witness.mp4 is held as evidence" in said.out
    assert held(home) == ["witness.mp4"]
    assert [path.stat().st_size for path in home.evidence.iterdir()] == [70_000_000]


def test_a_film_over_the_limit_of_films_is_refused_while_it_is_read(
    spinproof: Commands, home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setitem(store.LIMITS, store.Family.FILM, 3_000_000)
    film = a_film(tmp_path / "long.mp4", 2_000_000_000)

    said = spinproof.refused(
        *("evidence", HEAD, "wet test", film, "--what", "too long"),
        *("--home", home.root, "--by", "TT-1"),
    )

    assert "larger than the 3 MB that an MP4 film may have" in said.error
    assert held(home) == []
    assert list(home.evidence.iterdir()) == []


def test_a_file_that_is_not_there_is_said(spinproof: Commands, home: Home, tmp_path: Path):
    said = spinproof.refused(
        *("evidence", HEAD, "wet test", tmp_path / "none.mp4", "--what", "nothing"),
        *("--home", home.root, "--by", "TT-1"),
    )

    assert "cannot be read" in said.error


def test_a_check_that_nobody_knows_is_refused_before_the_file_is_taken(
    spinproof: Commands, home: Home, tmp_path: Path
):
    film = a_film(tmp_path / "witness.mp4", 1000)

    said = spinproof.refused(
        *("evidence", HEAD, "D-99", film, "--what", "nothing"),
        *("--home", home.root, "--by", "TT-1"),
    )

    assert "there is no check D-99" in said.error
    assert list(home.evidence.iterdir()) == []
