"""Record, judge and plan at the bench, by command."""

import json
from pathlib import Path

from tests.cli.command import Commands
from tests.cli.test_bad_input import options
from tests.demo_files import DEMO_DATA

from spinproof.cli.main import app

LIMITS = DEMO_DATA / "run.limits.toml"


def only_trace(folder: Path) -> Path:
    (trace,) = folder.glob("*.parquet")
    return trace


def test_a_run_is_recorded_and_judged(spinproof: Commands, stand: str, tmp_path: Path):
    recorded = spinproof("record", "--stand", stand, *options(), "--out", tmp_path, "--start")
    judged = spinproof(
        "judge", only_trace(tmp_path), "--limits", LIMITS, "--json", tmp_path / "json"
    )

    assert recorded.status == 0
    assert "trial: complete" in recorded.out
    assert "SIMULATED" in recorded.out
    assert judged.status == 0
    assert "trial: counted" in judged.out
    (document,) = (tmp_path / "json").iterdir()
    assert json.loads(document.read_text())["outcome"] == "counted"


def test_judging_twice_gives_the_same_bytes(spinproof: Commands, stand: str, tmp_path: Path):
    spinproof("record", "--stand", stand, *options(), "--out", tmp_path, "--start", "--seed", "5")
    trace = only_trace(tmp_path)
    for folder in ("first", "second"):
        spinproof("judge", trace, "--limits", LIMITS, "--json", tmp_path / folder)

    first, second = (next((tmp_path / folder).iterdir()) for folder in ("first", "second"))
    assert first.read_bytes() == second.read_bytes()


def test_a_fault_is_named_in_plain_words(spinproof: Commands, stand: str, tmp_path: Path):
    spinproof(
        *("record", "--stand", stand, *options(), "--out", tmp_path, "--start", "--seed", "7"),
        *("--fault", "step-cut-short=40"),
    )
    judged = spinproof("judge", only_trace(tmp_path), "--limits", LIMITS)

    assert judged.status == 1
    assert "relevant failure" in judged.out
    assert "final dry" in judged.out
    assert "40.0 s" in judged.out


def test_a_fault_without_its_name_is_refused(spinproof: Commands, stand: str, tmp_path: Path):
    said = spinproof(
        *("record", "--stand", stand, *options(), "--out", tmp_path, "--start"),
        *("--fault", "bad luck=3"),
    )

    assert said.status == 2
    assert "step-cut-short" in said.error


def test_a_plan_is_printed_and_written(spinproof: Commands, tmp_path: Path):
    said = spinproof(
        *("plan", "--head", DEMO_DATA / "lower.head.toml"),
        *("--recipe", DEMO_DATA / "cr-1.recipe.toml"),
        *("--load", DEMO_DATA / "partial.load.toml"),
        *("--seed", "3", "--out", tmp_path / "plan.json"),
    )

    assert said.status == 0
    assert "54 runs" in said.out
    assert "0.9460" in said.out
    assert json.loads((tmp_path / "plan.json").read_text())["seed"] == 3


def test_every_command_is_in_the_documentation():
    page = (Path(__file__).parents[2] / "docs" / "commands.md").read_text()

    for command in app.registered_commands:
        name = command.name or command.callback.__name__.replace("_", "-")
        assert f"| `{name}` |" in page, f"{name} is not documented"


def test_a_shop_without_runs_has_nothing_to_judge_anew(spinproof: Commands, tmp_path: Path):
    home = tmp_path / "home"
    spinproof("take-in", DEMO_DATA / "qa-1041.job.toml", "--home", home, "--by", "RT-1")

    said = spinproof("rejudge", "--home", home)

    assert (said.status, said.out.strip()) == (0, "no run")
