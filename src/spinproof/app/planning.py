"""Make a burn-in plan, edit it, measure it, write it and read it back."""

import json
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from spinproof.app.documents import read_text
from spinproof.files.canonical import canonical_json
from spinproof.files.durable import write_durably
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.plan import Asked, Ban, Budgets, Plan
from spinproof.model.plan_quality import Compared, CoverageView, Forecast, PlanQuality
from spinproof.model.recipe import Recipe
from spinproof.plan import coverage, editing, forecast, quality
from spinproof.plan.planning import compose

CUSTOMER_RUNS = 6
CORNER_RUNS = 8
LADDER_RUNS = 5
RELIABILITIES = (0.95, 0.98, 0.99, 0.995, 0.999)
"""Probabilities of a good run that a plan's odds are told for."""


def plan_burn_in(
    name: str,
    head: HeadSpec,
    customer: Sequence[Recipe],
    load: Load,
    *,
    runs: int,
    seed: int,
    budgets: Budgets | None = None,
    bans: Sequence[Ban] = (),
) -> Plan:
    """Plan a burn-in: a gentle ladder, the customer's recipes, corners, and runs between them.

    Parameters
    ----------
    name : str
        Name of the plan.
    head : HeadSpec
        The head, with its envelope.
    customer : sequence of Recipe
        The customer's recipes; each is repeated through the plan.
    load : Load
        The customer's load; its wafers serve for the other loads too.
    runs : int
        How many runs to plan.
    seed : int
        Seed of every random draw.
    budgets : Budgets, optional
        Time, water, nitrogen, pauses and shifts.
    bans : sequence of Ban
        Parts of the envelope to keep out of.

    Returns
    -------
    Plan
        The ordered runs and the claim they would support.

    Raises
    ------
    PlanError
        If the envelope leaves no such plan, or the budgets cannot be met.
    """
    asked = Asked(
        customer=tuple(customer),
        customer_load=load,
        customer_runs=CUSTOMER_RUNS,
        corner_runs=CORNER_RUNS,
        ladder_runs=LADDER_RUNS,
        total_runs=runs,
        budgets=budgets or Budgets(),
        bans=tuple(bans),
    )
    return compose(name, head, asked, seed)


def pin_run(plan: Plan, number: int, *, pinned: bool = True) -> Plan:
    """Give a plan in which a run stays when the others are chosen anew, or may go again."""
    return editing.pin(plan, number, pinned=pinned)


def move_run(plan: Plan, head: HeadSpec, number: int, to: int) -> Plan:
    """Give a plan in which a run has another place in the order."""
    return editing.move(plan, head, number, to)


def forbid_run(plan: Plan, head: HeadSpec, number: int) -> Plan:
    """Give a plan without a run and its like; another run takes its place."""
    return editing.forbid_run(plan, head, number)


def forbid_region(plan: Plan, head: HeadSpec, ban: Ban) -> Plan:
    """Give a plan that keeps out of a part of the envelope."""
    return editing.forbid(plan, head, ban)


def replan(plan: Plan, head: HeadSpec, *, seed: int | None = None) -> Plan:
    """Give a plan whose runs inside the envelope are chosen anew around those that stay."""
    return editing.replan(plan, head, seed)


def measure_plan(plan: Plan, head: HeadSpec) -> PlanQuality:
    """Measure how a plan covers what its envelope leaves."""
    return quality.plan_quality(plan, head)


def compare_plan(plan: Plan, head: HeadSpec) -> tuple[Compared, ...]:
    """Set a plan beside as many points of two ordinary generators, on the same measures."""
    return quality.compare(plan, head)


def coverage_of(plan: Plan, head: HeadSpec) -> CoverageView:
    """Give a plan's points and how its levels meet, as plain values for plots."""
    return coverage.coverage(plan, head)


def forecast_of(
    plan: Plan, head: HeadSpec, reliabilities: Sequence[float] = RELIABILITIES
) -> Forecast:
    """Give what a plan will take, and the odds of ending it without a restart."""
    return forecast.forecast(plan, head, reliabilities)


def export_tables(plan: Plan, head: HeadSpec, folder: Path) -> tuple[Path, Path]:
    """Write a plan's points to ``plan_unit.csv`` and its runs to ``plan_levels.csv``.

    Anybody can take the measures again from the first: it holds the different recipes in the unit
    cube.
    """
    folder.mkdir(parents=True, exist_ok=True)
    unit, levels = folder / "plan_unit.csv", folder / "plan_levels.csv"
    write_durably(unit, coverage.unit_table(plan, head).encode())
    write_durably(levels, coverage.level_table(plan, head).encode())
    return unit, levels


def write_plan(plan: Plan, path: Path) -> None:
    """Write a plan as canonical JSON."""
    write_durably(path, canonical_json(plan.to_document()) + b"\n")


def read_plan(path: Path) -> Plan:
    """Read a plan back from its file.

    Raises
    ------
    DocumentError
        If the file is missing, or is not a plan.
    """
    try:
        return Plan.from_document(json.loads(read_text(path)))
    except (json.JSONDecodeError, ValidationError) as error:
        raise DocumentError(
            "the file is not a burn-in plan",
            where=str(path),
            mend="Make one with `spinproof plan`.",
        ) from error
