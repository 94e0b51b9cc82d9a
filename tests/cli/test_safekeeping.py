"""Backup, restore, export and rebuild, by command."""

from pathlib import Path

from tests.cli.command import Commands
from tests.demo_files import DEMO_DATA

from spinproof.app.evidence_desk import hold_evidence
from spinproof.app.home import Home
from spinproof.app.intake import open_shop_ledger


def taken_in(spinproof: Commands, folder: Path) -> Path:
    """Take the demo's job into a new home folder."""
    home = folder / "home"
    spinproof("take-in", DEMO_DATA / "qa-1041.job.toml", "--home", home, "--by", "RT-1")
    return home


def test_a_shop_is_saved_and_put_back(spinproof: Commands, tmp_path: Path):
    home = taken_in(spinproof, tmp_path)

    saved = spinproof("backup", tmp_path / "safe", "--home", home, "--by", "OW-1")
    back = spinproof(
        *("restore", tmp_path / "safe", tmp_path / "new", "--why", "drill", "--by", "OW-1")
    )
    found = spinproof("attempts", "QM-207-L", "--home", tmp_path / "new")

    assert "are safe" in saved.out
    assert "put back" in back.out
    assert "attempts 0 = counted 0" in found.out


def test_a_restore_never_writes_over_something(spinproof: Commands, tmp_path: Path):
    home = taken_in(spinproof, tmp_path)
    spinproof("backup", tmp_path / "safe", "--home", home, "--by", "OW-1")

    said = spinproof.refused(
        *("restore", tmp_path / "safe", home, "--why", "in haste", "--by", "OW-1")
    )

    assert str(home) in said.error


def test_a_shop_is_written_as_text_and_built_anew(spinproof: Commands, tmp_path: Path):
    home = taken_in(spinproof, tmp_path)

    written = spinproof("export", tmp_path / "text", "--home", home)
    built = spinproof("rebuild", tmp_path / "text", tmp_path / "twin")
    found = spinproof("attempts", "QM-207-L", "--home", tmp_path / "twin")

    assert (written.status, built.status, found.status) == (0, 0, 0)
    assert "audit trail" in built.out


def test_the_head_of_the_trail_is_printed_for_somebody_outside(spinproof: Commands, tmp_path: Path):
    home = taken_in(spinproof, tmp_path)

    said = spinproof(
        *("anchor", "--home", home, "--by", "OW-1", "--to", "customer, by letter"),
        *("--code", tmp_path / "head.svg"),
    )

    assert "Audit trail" in said.out
    assert (tmp_path / "head.svg").read_text().startswith("<svg")


def test_the_doctor_names_a_trace_that_was_changed_by_hand(spinproof: Commands, tmp_path: Path):
    home = taken_in(spinproof, tmp_path)
    log = tmp_path / "log.csv"
    log.write_text("minute,bar\n0,1.4\n")
    ledger = open_shop_ledger(Home(home))
    held = hold_evidence(Home(home), ledger, "QA-1041", log, "supply log", by="TT-1")
    ledger.close()

    well = spinproof("doctor", "--home", home)
    (home / "evidence" / held.sha256).write_text("minute,bar\n0,2.8\n")
    ill = spinproof("doctor", "--home", home)

    assert well.status == 0, well.out
    assert ill.status == 1
    assert "log.csv" in ill.out
