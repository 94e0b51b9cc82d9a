"""The command that plans, as its user types it, and plans of heads off the axis."""

import io

import numpy as np
import pytest
from scipy.stats import qmc
from tests.demo_files import CR_1, DEMO_DATA, LOWER
from typer.testing import CliRunner

from spinproof.app.planning import measure_plan, read_plan
from spinproof.cli.main import app
from spinproof.model.errors import PlanError, UnitError
from spinproof.model.head import RotorAxis
from spinproof.model.load import Load
from spinproof.plan.planning import make_plan

FILES = [
    *("--head", str(DEMO_DATA / "lower.head.toml")),
    *("--recipe", str(DEMO_DATA / "cr-1.recipe.toml")),
    *("--load", str(DEMO_DATA / "partial.load.toml")),
]


def test_a_plan_prints_its_measures_beside_two_ordinary_generators(tmp_path):
    said = CliRunner().invoke(
        app,
        [
            *("plan", *FILES, "--runs", "30", "--water", "400 L"),
            *("--tables", str(tmp_path), "--out", str(tmp_path / "plan.json")),
        ],
    )
    plan = read_plan(tmp_path / "plan.json")
    unit = np.loadtxt(
        io.StringIO((tmp_path / "plan_unit.csv").read_text()), delimiter=",", skiprows=1
    )
    measured = measure_plan(plan, LOWER)

    assert said.exit_code == 0, said.output
    assert "Odds of ending without a restart" in said.output
    assert "(a) Sobol points" in said.output
    assert "(b) Latin hypercube" in said.output
    assert f"{measured.energy:.4f}" in said.output
    assert measured.discrepancy == pytest.approx(qmc.discrepancy(unit), abs=1e-10)
    assert plan.asked.budgets.water_l == 400.0


def test_a_budget_without_its_unit_or_too_small_is_refused():
    bare = CliRunner().invoke(app, ["plan", *FILES, "--time", "9"])
    small = CliRunner().invoke(app, ["plan", *FILES, "--time", "2 h"])

    assert isinstance(bare.exception, UnitError)
    assert isinstance(small.exception, PlanError)
    assert "the budget time_h leaves 0" in str(small.exception)


def test_a_head_off_the_axis_gets_loads_that_balance_one_another():
    head = LOWER.model_copy(
        update={
            "axis": RotorAxis.OFF_AXIS,
            "cassettes": 2,
            "cassette_radius_mm": 150.0,
            "slots": 50,
        }
    )
    even = Load(name="24 and 24", slots=(*range(1, 25), *range(26, 50)), wafer_mass_g=53.05)
    plan = make_plan("burn-in", head, (CR_1,), 2, 2, 14, 3, even)

    assert {run.load.wafer_count for run in plan.runs} == {0, 5, 13, 25, 48}
    for run in plan.runs:
        first = {slot for slot in run.load.filled_slots if slot <= 25}
        assert {slot - 25 for slot in run.load.filled_slots if slot > 25} == first
        assert run.note is None
