"""A job in the ledger, by command: what may come next, and why the rest may not."""

from pathlib import Path

from tests.cli.command import Commands
from tests.demo_files import DEMO_DATA


def full_job(folder: Path) -> Path:
    """Write the demo's job as one of the full process."""
    path = folder / "full.job.toml"
    text = (DEMO_DATA / "qa-1041.job.toml").read_text()
    path.write_text(text.replace("shop = ", 'process = "full"\nshop = ', 1))
    return path


def test_a_head_that_was_just_taken_in_says_what_comes_first(spinproof: Commands, tmp_path: Path):
    home = tmp_path / "home"
    taken = spinproof("take-in", full_job(tmp_path), "--home", home, "--by", "RT-1")
    found = spinproof("next", "QM-207-L", "--home", home)

    assert "PO 40-7716Q" in taken.out
    assert "QM-207-L: received" in found.out
    assert "decontamination" in found.out


def test_the_wet_test_is_refused_with_its_reasons(spinproof: Commands, tmp_path: Path):
    home = tmp_path / "home"
    spinproof("take-in", full_job(tmp_path), "--home", home, "--by", "RT-1")

    said = spinproof("why", "QM-207-L", "wet test", "--home", home)

    assert said.status == 1
    assert "Not passed yet: incoming inspection" in said.out
    assert "checks have not been made: W-01" in said.out
    assert "(R18)" in said.out


def test_a_checkpoint_that_nobody_knows_is_refused(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("why", "QM-207-L", "lunch", "--home", tmp_path / "home")

    assert "dry test" in said.error


def test_an_excluded_head_has_no_next_step(spinproof: Commands, tmp_path: Path):
    home = tmp_path / "home"
    spinproof("take-in", full_job(tmp_path), "--home", home, "--by", "RT-1")

    asked = spinproof("why", "QM-207-U", "release", "--home", home)
    found = spinproof("next", "QM-207-U", "--home", home)

    assert asked.status == 1
    assert "QM-207-U was excluded by the customer" in asked.out
    assert "QM-207-U: not in scope" in found.out
    assert "may:" not in found.out


def test_without_a_run_there_is_nothing_to_claim(spinproof: Commands, tmp_path: Path):
    home = tmp_path / "home"
    spinproof("take-in", DEMO_DATA / "qa-1041.job.toml", "--home", home, "--by", "RT-1")

    said = spinproof("claims", "QM-207-L", "--home", home)

    assert said.status == 0
    assert "nothing to claim" in said.out
