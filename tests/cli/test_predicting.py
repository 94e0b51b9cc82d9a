"""``calibrate``, ``predict`` and ``advise`` as they are typed."""

import json
from pathlib import Path

import pytest
from tests.cli.command import Commands
from tests.demo_files import DEMO_DATA, LOWER
from tests.virtualhead.runs import SHORT
from tests.virtualhead_judged.simulated import run_trace

from spinproof.record.trace_file import Summary, write_trace
from spinproof.virtualhead.head import VirtualHead

HEAD, RECIPE, LOAD = (
    DEMO_DATA / name for name in ("lower.head.toml", "cr-1.recipe.toml", "partial.load.toml")
)
TASK = ("--recipe", RECIPE, "--load", LOAD)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three sealed short runs of the lower head."""
    folder, head = tmp_path_factory.mktemp("runs"), VirtualHead(LOWER)
    paths = []
    for number in (1, 2, 3):
        trace = run_trace(recipe=SHORT, head=head, run_number=number)
        summary = Summary(header=trace.header, incidents=(), ending=trace.ending)
        kept = write_trace(summary, trace.signals, folder)
        paths.append(folder / f"{kept.sha256}.parquet")
    return paths


def test_a_calibrated_model_predicts_and_stays_simulated(
    spinproof: Commands, runs: list[Path], tmp_path: Path
):
    model = tmp_path / "model.json"

    said = spinproof("calibrate", *runs, "--head", HEAD, "--out", model, "--figures", tmp_path)
    told = spinproof("predict", "--model", model, *TASK, "--draws", "500", "--figures", tmp_path)

    assert (said.status, told.status) == (0, 0)
    assert "head QM-207-L  SIMULATED" in said.out
    assert "coast-down: 3 runs" in said.out
    assert "cannot say: inertia, apart from drag" in said.out
    assert "13 wafers, 380 s  SIMULATED" in told.out
    charts = sorted(path.name for path in tmp_path.glob("*.svg"))
    assert "residuals-coast-down.svg" in charts
    assert "water-held-up.svg" in charts
    assert "SIMULATED" in (tmp_path / "water-held-up.svg").read_text()


def test_a_prediction_by_priors_says_so_and_writes_the_same_bytes_twice(
    spinproof: Commands, tmp_path: Path
):
    paths = [tmp_path / name for name in ("a.json", "b.json")]
    for path in paths:
        said = spinproof("predict", "--head", HEAD, *TASK, "--draws", "500", "--json", path)

    assert said.status == 0
    assert "SIMULATED" not in said.out
    assert "calibrate first: water held up after spin-off" in said.out
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert json.loads(paths[0].read_text())["seed"] == 1


def test_advice_prints_the_front_with_intervals(spinproof: Commands, tmp_path: Path):
    out = tmp_path / "advice.json"

    said = spinproof(
        *("advise", "--head", HEAD, *TASK, "--prices", "12,0.4,0.3,EUR"),
        *("--json", out, "--figures", tmp_path),
    )

    assert said.status == 0
    assert "cost, EUR" in said.out
    assert "450 recipes tried" in said.out
    assert "calibrate first" in said.out
    assert json.loads(out.read_text())["front"]
    assert (tmp_path / "front.svg").exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("predict", *TASK),
        ("predict", *TASK, "--head", HEAD, "--model", HEAD),
        ("predict", *TASK, "--model", HEAD),
        ("predict", *TASK, "--head", HEAD, "--draws", "1"),
        ("advise", *TASK, "--head", HEAD, "--prices", "cheap"),
        ("calibrate", "--head", HEAD, "--weighings", HEAD),
        ("calibrate", HEAD, "--head", HEAD),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_paragraph(
    spinproof: Commands, arguments: tuple[str | Path, ...]
):
    spinproof.refused(*arguments)
