"""Make a burn-in plan, write it and read it back."""

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
from spinproof.model.plan import Plan
from spinproof.model.recipe import Recipe
from spinproof.plan.planning import make_plan

CUSTOMER_RUNS = 6
CORNER_RUNS = 8


def plan_burn_in(
    name: str, head: HeadSpec, customer: Sequence[Recipe], load: Load, *, runs: int, seed: int
) -> Plan:
    """Plan a burn-in: the customer's recipes, corners of the envelope, and runs inside it.

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

    Returns
    -------
    Plan
        The ordered runs and the claim they would support.

    Raises
    ------
    PlanError
        If the envelope leaves no such plan.
    """
    return make_plan(name, head, tuple(customer), CUSTOMER_RUNS, CORNER_RUNS, runs, seed, load)


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
