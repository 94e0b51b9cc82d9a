"""Calculators by command: listed, described, answered, kept."""

import tomllib
from pathlib import Path

import pytest
from tests.cli.command import Commands
from tests.cli.test_job import full_job

from spinproof.app.calculators.registry import CALCULATORS

ROTOR = ("grade=6.3 mm/s", "mass=16.2 kg", "speed=2000 rpm")
HEAD = "QM-207-L"


def test_without_a_name_all_are_listed(spinproof: Commands):
    said = spinproof("calculate")

    for name in CALCULATORS:
        assert name in said.out


@pytest.mark.parametrize("name", list(CALCULATORS))
def test_each_tells_its_inputs_and_answers_its_own_example(
    spinproof: Commands, tmp_path: Path, name: str
):
    told = spinproof("calculate", name)
    file = tmp_path / "inputs.toml"
    file.write_text(spinproof("calculate", name, "--example").out)
    found = spinproof("calculate", name, "--file", file)

    assert tomllib.loads(file.read_text())
    assert all(field.name in told.out for field in CALCULATORS[name].fields)
    assert found.status == 0
    assert "source:" in found.out
    assert "caution:" in found.out


def test_inputs_on_the_line_go_before_those_of_the_file(spinproof: Commands, tmp_path: Path):
    file = tmp_path / "inputs.toml"
    file.write_text('grade = "6.3 mm/s"\nmass = "9 kg"\nspeed = "2000 rpm"\n[u]\n')
    found = spinproof("calculate", "permissible-unbalance", "mass=16.2 kg", "--file", file)

    assert "487.3 g·mm" in found.out


def test_an_answer_is_kept_with_a_head_and_stands_in_the_history(
    spinproof: Commands, tmp_path: Path
):
    home = tmp_path / "home"
    spinproof("take-in", full_job(tmp_path), "--home", home, "--by", "RT-1")
    place = ("--job", HEAD, "--home", home, "--by", "AS-2")
    said = spinproof("calculate", "permissible-unbalance", *ROTOR, *place)

    assert f"kept as calculation 1 of {HEAD}" in said.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("horoscope", "a=1"), "Choose one of: balance"),
        (("permissible-unbalance", "mass"), "key=value"),
        (("permissible-unbalance", "mass=16.2"), "The unit is missing"),
        (("permissible-unbalance", *ROTOR[:2]), "speed: Fill this in"),
        (("permissible-unbalance", *ROTOR, "speed=0 rpm"), "cannot say"),
        (("permissible-unbalance", *ROTOR, "--job", "QA-1041"), "--home and --by"),
        (("permissible-unbalance", *ROTOR, "--figure", "x.svg"), "draws nothing"),
        (("permissible-unbalance", "--file", "no.toml"), "cannot be read"),
    ],
)
def test_what_cannot_be_taken_is_one_paragraph(
    spinproof: Commands, arguments: tuple[str, ...], said: str
):
    assert said in spinproof.refused("calculate", *arguments).error


@pytest.mark.parametrize("text", ["mass = [1, 2]", "mass = true", "mass ="])
def test_a_file_that_holds_no_inputs_is_refused(spinproof: Commands, tmp_path: Path, text: str):
    file = tmp_path / "inputs.toml"
    file.write_text(text)

    assert (
        "inputs.toml"
        in spinproof.refused("calculate", "permissible-unbalance", "--file", file).error
    )
